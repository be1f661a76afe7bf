"""Does the advice find the faults of engines that are made of circuits, not of the fault table?

Draws virtual engines (complaint, one to three stop switches, fault by the table's prior), works
every check out on the circuit, and follows the best next checks until a place is 95 % probable or
no check tells more.

    python tests/benchmarks/practice_engines.py [--engines 1000] [--seed 1]
"""

import argparse
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[2]))

from meterlink.circuit.workshop import Workshop
from meterlink.finding import Walk, follow
from tests.meterlink.circuit_patients import Intake, demo_profile


class Search(NamedTuple):
    """One engine searched."""

    fault: str
    place: str
    walk: Walk


def row(name: str, searches: list[Search]) -> str:
    """Return one line of the table."""
    count = len(searches)
    place = sum(s.walk.place == s.place for s in searches) / count
    fault = sum(s.walk.fault == s.fault for s in searches) / count
    sure = sum(s.walk.sure for s in searches) / count
    wrong = sum(s.walk.sure and s.walk.place != s.place for s in searches) / count
    checks = sum(len(s.walk.checks) for s in searches) / count
    minutes = sum(s.walk.minutes for s in searches) / count
    blamed = Counter(s.walk.place for s in searches if s.walk.place != s.place)
    return (
        f"{name:<40}{count:>7}{checks:>8.2f}{minutes:>9.1f}{place:>8.1%}{fault:>8.1%}"
        f"{sure:>8.1%}{wrong:>12.1%}  {', '.join(f'{p} {n}' for p, n in blamed.most_common(2))}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engines", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    intake, profile = Intake(args.seed), demo_profile()
    everything: list[Search] = []
    by_kind: dict[str, list[Search]] = defaultdict(list)
    begun = time.perf_counter()
    for _ in range(args.engines):
        model, patient, place = intake.draw()
        walk = follow(model, Workshop(patient, profile).answer)
        search = Search(patient.fault, place, walk)
        everything.append(search)
        by_kind[f"{patient.complaint}: {patient.fault}"].append(search)
        by_kind[patient.complaint].append(search)
    each = (time.perf_counter() - begun) / args.engines
    print(f"{'':<40}{'engines':>7}{'checks':>8}{'minutes':>9}", end="")
    print(f"{'place':>8}{'fault':>8}{'sure':>8}{'sure, wrong':>12}  blamed instead")
    for name in sorted(by_kind):
        print(row(("  " if ":" in name else "") + name, by_kind[name]))
    print(row("all", everything))
    print(f"{each * 1e3:.1f} ms an engine")


if __name__ == "__main__":
    main()
