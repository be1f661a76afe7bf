"""How long a next best check takes, with two faults at once and beside one fault alone.

The engine has all six stop switches: as many faults, pairs and checks as there can be. Printed is
the time of the first look and of a second one at the same outcomes, in milliseconds of processor
time, and how many times longer it takes than by a table that knows no second faults.

    python tests/benchmarks/finding_speed.py [--times 15]
"""

import argparse
import sys
import time
from pathlib import Path
from statistics import median

import msgspec

sys.path.insert(0, str(Path(__file__).parents[2]))

from meterlink.finding.model import Model
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import EvidenceStage
from meterlink.finding.search import prospects, shake
from meterlink.finding.shape import FaultTable
from meterlink.finding.table import shipped_table

OUTCOMES = {
    "spark-at-gap": "no",
    "spark-with-stop-isolated": "no",
    "primary-resistance": "in-window",
    "secondary-resistance": "open",
    "stop-switch": "stuck-closed",
}
DRAWS = 24


def measure(table: FaultTable, times: int) -> list[tuple[str, float, float]]:
    """Return name, first look and second look of three moments of a search, in milliseconds."""
    found = []
    for name in ("at the start", "after five outcomes", "after a mend"):
        first, second = [], []
        for _ in range(times):
            model = Model(table, "no-spark", list(table.checks["switch"].each))
            seen = record(model, OUTCOMES).evidence if name != "at the start" else {}
            stages = [EvidenceStage(evidence=seen)]
            if name == "after a mend":
                stages.append(EvidenceStage(frozenset({"armature"}), {}))
            for taken in (first, second):
                begun = time.process_time()
                prospects(model, stages)
                taken.append(1e3 * (time.process_time() - begun))
        found.append((name, median(first), median(second)))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=15)
    args = parser.parse_args()
    table = shipped_table()
    alone = measure(msgspec.structs.replace(table, second=None), args.times)
    pairs = measure(table, args.times)
    print(f"{'':<22}{'first ms':>9}{'again ms':>9}{'times one fault alone':>23}")
    for (name, first, again), (_, single, _) in zip(pairs, alone, strict=True):
        print(f"{name:<22}{first:>9.1f}{again:>9.1f}{first / single:>23.1f}")
    model = Model(table, "no-spark", list(table.checks["switch"].each))
    stages = [EvidenceStage(evidence=record(model, OUTCOMES).evidence)]
    begun = time.process_time()
    shake(model, stages, DRAWS)
    took = 1e3 * (time.process_time() - begun)
    print(f"how firm, {DRAWS} draws: {took:.0f} ms, {took / pairs[1][1]:.0f} next best checks")


if __name__ == "__main__":
    main()
