"""How many engines the properties of the one state are held to, and how well the sums agree.

Counts the engines with every fault and every two, after every repair, of which start and stop are
compared with a list of what prevents what; and gives the largest relative difference between the
network's resistances and exact arithmetic, star by star, over random networks of eight nodes.

    python tests/benchmarks/engine_agreement.py [--networks 2000] [--seed 1]
"""

import argparse
import sys
from itertools import combinations
from math import isinf
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from meterlink.circuit.faults import PARTS, slug
from meterlink.circuit.spark import runs_on, starts, stopping
from tests.meterlink.test_circuit_network import exact, network
from tests.meterlink.test_circuit_one_state import (
    MENDED_BY,
    PAIRS,
    PREVENTS_STOP,
    SWITCHES,
    patient_of,
    preventing,
    running,
)

REPAIRS = [(), *((part,) for part in [*PARTS, *map(slug, SWITCHES)])]


def trials(complaint: str) -> tuple[int, int]:
    """Return how many starts or stops were tried, and how many went another way than the list."""
    tried = wrong = 0
    for mended in REPAIRS:
        for number, faults in enumerate(PAIRS):
            if complaint == "wont-stop" and not set(faults) <= PREVENTS_STOP:
                continue
            patient = patient_of(faults, complaint, number)
            for part in mended:
                patient = patient.put_right(part)
            left = {fault for fault in faults if not MENDED_BY[fault] & set(mended)}
            engine = patient.cold
            if complaint == "no-spark":
                tried += 1
                wrong += starts(engine, running(engine)) == bool(preventing(left))
                continue
            for name, stopped in zip(SWITCHES, stopping(engine, running(engine)), strict=True):
                of_this = {f for f in left if not f.endswith("-never-closes")}
                prevented = bool(of_this) or f"{slug(name)}-never-closes" in left
                tried += 1
                wrong += runs_on(engine, stopped) != prevented
    return tried, wrong


def furthest(networks: int, seed: int) -> float:
    """Return the largest relative difference between network and exact arithmetic."""
    rng = np.random.default_rng(seed)
    most = 0.0
    pairs = list(combinations(range(8), 2))
    for _ in range(networks):
        chosen = rng.choice(len(pairs), size=rng.integers(3, 15), replace=False)
        edges = [(*pairs[i], float(10 ** rng.uniform(-3, 8))) for i in chosen]
        ours, theirs = network(*edges).resistance(0, 1), exact(edges, 0, 1)
        if not (isinf(ours) and isinf(theirs)):
            most = max(most, abs(ours - theirs) / theirs)
    return most


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--networks", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print(f"{len(MENDED_BY)} faults, {len(PAIRS)} sets of one or two, {len(REPAIRS)} repairs")
    for complaint in ("no-spark", "wont-stop"):
        tried, wrong = trials(complaint)
        what = "starts" if complaint == "no-spark" else "stops"
        print(f"{tried} {what} tried, {wrong} another way than the list says")
    print(f"{args.networks} networks: {furthest(args.networks, args.seed):.1e} apart at most")


if __name__ == "__main__":
    main()
