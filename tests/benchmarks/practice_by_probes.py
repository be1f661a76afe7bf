"""Does a trainee who probes with care and follows the advice find the fault, in how many checks?

Unlike ``practice_engines.py``, which works the checks out on the circuit, every reading here comes
from the simulated meter over a socket, through the real driver, and every verdict from the real
bench; the trainee types as one does. Engines are ordered by fault and complaint in turn, so that
each fault of the table counts alike. Practice leaves out engines on which the advice itself ends in
the wrong place, as long as there are others: ``practice_engines.py`` takes them as they come in.

Last measured, 150 engines: all found, 6.7 checks, 99.5 points of 100, no check with another outcome
than the one worked out on the circuit.

    python tests/benchmarks/practice_by_probes.py [--rounds 3] [--difficulty medium]
"""

import argparse
import sys
import time
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[2]))

from meterlink.circuit.workshop import Workshop
from meterlink.errors import UsageError
from meterlink.finding.table import shipped_table
from meterlink.training.case import DIFFICULTIES, Case, Order, draw, fault_names
from meterlink.training.practice import Practice
from meterlink.training.score import score
from tests.meterlink.circuit_patients import demo_profile
from tests.tui.careful_trainee import CarefulTrainee
from tui.practice.bench import PracticeBench


class Played(NamedTuple):
    """One practice, played to its end."""

    checks: int
    found: bool
    points: float
    unlike: int
    """Checks whose outcome was not the one worked out on the circuit."""
    seconds: float


def play(case: Case) -> Played:
    """Let the careful trainee loose on ``case``."""
    practice = Practice(case)
    workshop = Workshop(case.patient, case.profile)
    begun = time.perf_counter()
    with PracticeBench(practice) as bench:
        trainee = CarefulTrainee(practice, bench)
        trainee.make_safe()
        trainee.follow_the_advice()
        outcomes = practice.ledger.outcomes
        trainee.give_back()
    seconds = time.perf_counter() - begun
    unlike = sum(
        outcome not in (workshop.answer(check), "skipped") for check, outcome in outcomes.items()
    )
    scored = score(case, practice.ledger, 0.0)
    return Played(scored.checks, scored.found, scored.points, unlike, seconds)


def row(name: str, played: list[Played]) -> str:
    count = len(played)
    checks = sum(one.checks for one in played) / count
    found = sum(one.found for one in played) / count
    points = sum(one.points for one in played) / count
    seconds = sum(one.seconds for one in played) / count
    unlike = sum(one.unlike for one in played)
    return (
        f"{name:<44}{count:>8}{checks:>8.2f}{found:>8.1%}{points:>8.1f}{unlike:>8}{seconds:>8.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3, help="engines for each fault")
    parser.add_argument("--difficulty", choices=DIFFICULTIES, default="medium")
    args = parser.parse_args()
    base = demo_profile()
    by_kind: dict[str, list[Played]] = defaultdict(list)
    everything: list[Played] = []
    for complaint in shipped_table().complaints:
        for fault in fault_names():
            for seed in range(args.rounds):
                order = Order(
                    seed=seed, difficulty=args.difficulty, fault=fault, complaint=complaint
                )
                try:
                    case = draw(order, base)
                except UsageError:
                    break  # this fault never makes this complaint
                played = play(case)
                everything.append(played)
                by_kind[f"  {complaint}: {fault}"].append(played)
                by_kind[complaint].append(played)
    print(f"{'':<44}{'engines':>8}{'checks':>8}{'found':>8}{'points':>8}{'unlike':>8}{'s each':>8}")
    for name in sorted(
        by_kind, key=lambda name: (name.strip().split(":")[0], name[0] == " ", name)
    ):
        print(row(name, by_kind[name]))
    print(row("all", everything))


if __name__ == "__main__":
    main()
