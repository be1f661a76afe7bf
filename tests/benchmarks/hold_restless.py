"""The hold where readings never rest: noise, contacts that jump, values that creep or cool.

``coverage``: share of touches whose last stated interval holds the value just before the lift, and
``p`` that of so few if it were 0.94 (one-sided binomial test); ``width``: median of that interval
over that of an observer who knows the noise, at the same moment; ``stated``: values a touch.

Run: python tests/benchmarks/hold_restless.py [touches a family, 5000] [first seed] [--unseen]

Last printed with 1,000 touches a family from seed 3,000,000, which nothing was tuned on; missed,
false and doubled in 1,000:

                 missed   false  doubled  coverage     p    width  stated
    white noise    0.00    0.65     0.00    0.9840  1.00     1.48    1.54
    wander         8.01    4.26     0.00    0.9446  0.75     1.45    1.42
    two levels    10.00    0.00     0.00    0.9313  0.14     1.00    1.84
    creep          5.00    4.28     0.00    0.9608  1.00     1.29    3.76
    warm           0.00    0.66     0.00    0.9680  1.00     1.14    4.52
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from meterlink.hold import HoldDetector
from tests.traces import restless
from tests.traces.score import holds_of
from tests.traces.stated import Stated


def main() -> None:
    """Print a line a family."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("touches", type=int, nargs="?", default=5000)
    parser.add_argument("first", type=int, nargs="?", default=0, help="first seed")
    parser.add_argument("--unseen", action="store_true", help="by the independent generator")
    parser.add_argument("--cases", help="print the seeds of these, such as creep:outside")
    parser.add_argument("--only", help="one family")
    args = parser.parse_args()
    if args.unseen:
        from tests.traces import unseen as made
    else:
        made = restless
    out = Stated()
    for family in made.RESTLESS:
        if args.only in (None, family):
            for seed in range(args.first, args.first + args.touches):
                touch = made.touch(seed, family)
                out.add(seed, touch, holds_of(HoldDetector().feed, touch.readings))
    print(out.table())
    due = sum(out.due.values())
    print(f"missed over all: {1000 * sum(out.missed.values()) / due:.2f} in 1,000 of {due}")
    if args.cases:
        for case in out.cases:
            if f"{case[0]}:{case[1]}" == args.cases:
                print(case)


if __name__ == "__main__":
    main()
