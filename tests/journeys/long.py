"""Play journeys for so many minutes: python tests/journeys/long.py --minutes N [--seed S].

Prints counts by family, and for each journey that failed the command line that plays it again.
“at most” is the share of wrong ones among the clear verdicts that the counts leave possible, at
95 %; it says something once there are some sixty clear verdicts in a family.
"""

import argparse
import contextlib
import io
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.journeys.families import FAMILIES, Told, play
from tests.journeys.judge import WRONG_AT_MOST, wrong_at_most

COUNTED = ("journeys", "steps", "seeded", "slips", "verdicts", "clear", "wrong clear", "failed")


def main() -> int:
    """Play; return 1 where a journey failed or a family's verdicts are too often wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1000, help="the first one")
    parser.add_argument("--family", choices=list(FAMILIES))
    parser.add_argument("--journeys", type=int, default=0, help="stop after so many")
    args = parser.parse_args()
    families = [args.family] if args.family else list(FAMILIES)
    counts: dict[str, Counter[str]] = {family: Counter() for family in families}
    ends, seed, played = time.monotonic() + 60 * args.minutes, args.seed, 0
    while time.monotonic() < ends and not (args.journeys and played >= args.journeys):
        for family in families:
            _count(counts[family], family, seed)
            played += 1
            if time.monotonic() > ends:
                break
        seed += 1
    print(f"{'family':10}" + "".join(f"{name:>12}" for name in (*COUNTED, "at most")))
    bad = False
    for family, count in counts.items():
        wrong, bound = count["wrong clear"], wrong_at_most(count["wrong clear"], count["clear"])
        print(f"{family:10}" + "".join(f"{count[name]:>12}" for name in COUNTED), f"{bound:>11.1%}")
        bad = bad or count["failed"] > 0 or (wrong > 0 and bound > WRONG_AT_MOST)
    return int(bad)


def _count(count: Counter[str], family: str, seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
        try:
            told = play(Path(folder), family, seed)
        except Exception as fault:  # noqa: BLE001  # whatever it is, the next journey is played
            told = Told(faults=[f"{type(fault).__name__}: {fault}"])
    count["journeys"] += 1
    for name in ("steps", "seeded", "slips", "verdicts", "clear"):
        count[name] += getattr(told, name)
    count["wrong clear"] += len(told.wrong_clear)
    count["failed"] += bool(told.faults)
    faults = [*told.faults, *(f"wrong and clear: {wrong}" for wrong in told.wrong_clear)]
    for fault in faults[:4]:
        print(fault[:600])
    if faults:
        again = f"python tests/journeys/long.py --family {family} --seed {seed} --journeys 1"
        print(f"    {again}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
