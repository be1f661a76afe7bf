"""Does the advice find the faults of engines that are made of circuits, not of the fault table?

Draws virtual engines (complaint, one to three stop switches, fault by the table's prior), works
every check out on the circuit, and follows the best next checks until a place is 95 % probable or
no check tells more. Found means that this place is the right one: faults of one place, such as
those of an armature, are told apart only as far as that is needed to find the place.

Every check is done with care here, and a fault that comes with heat is there at every trial while
it is hot. So this says whether the table's checks can find what the circuit does, and not how often
a workshop will: ``finding_checks.py`` has the slips and the chance.

Last measured, seeds 7 and 20261125, not looked at while the table was written, 3,000 engines each:
all but one found, and that one sure and wrong; the very fault named in 88 %; 7.5 checks and 45
minutes. Seed 1, 1,000 engines: 99.9 % found, sure and wrong 0.1 %, 7.45 checks. One hundred
engines of each of the 50 complaints and faults, seed 4: all found but 7 of one pair. That is a
magnet cracked in its seat that still pulls, in an engine that dies hot: the armature comes to just
over 95 % before the flywheel has to come off.

    python tests/benchmarks/practice_engines.py [--engines 1000] [--each 60] [--seed 1]
"""

import argparse
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[2]))

from meterlink.circuit.workshop import Workshop
from meterlink.finding.search import Walk, follow, once
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
    parser.add_argument("--each", type=int, help="so many of each complaint and fault instead")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    intake, profile = Intake(args.seed), demo_profile()
    everything: list[Search] = []
    by_kind: dict[str, list[Search]] = defaultdict(list)
    begun = time.perf_counter()
    drawn = (
        intake.draw_each(args.each) if args.each else (intake.draw() for _ in range(args.engines))
    )
    for model, patient, place in drawn:
        walk = follow(model, Workshop(patient, profile).answer, once)
        search = Search(patient.fault, place, walk)
        everything.append(search)
        by_kind[f"{patient.complaint}: {patient.fault}"].append(search)
        by_kind[patient.complaint].append(search)
    each = (time.perf_counter() - begun) / len(everything)
    print(f"{'':<40}{'engines':>7}{'checks':>8}{'minutes':>9}", end="")
    print(f"{'place':>8}{'fault':>8}{'sure':>8}{'sure, wrong':>12}  blamed instead")
    for name in sorted(by_kind):
        print(row(("  " if ":" in name else "") + name, by_kind[name]))
    print(row("all", everything))
    print(f"{each * 1e3:.1f} ms an engine")


if __name__ == "__main__":
    main()
