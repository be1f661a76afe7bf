"""What the hold costs a reading, beside parsing that reading from text and writing it as CSV.

A touch of three seconds with a little noise follows two seconds of air, again and again; a second
stream settles for most of its touch. Both costs are the least of five rounds in one run.

Run: python tests/benchmarks/engine_cost.py
"""

import csv
import io
import random
import time
from collections.abc import Callable
from math import exp, inf

from meterlink.hold import HoldDetector
from meterlink.reading import Reading

ROUNDS = 5
READINGS = 40_000


def stream(rate: float, *, settles: bool) -> list[Reading]:
    """Touches of three seconds, two seconds of air between them."""
    rng = random.Random(1)
    out = []
    for i in range(READINGS):
        t = i / rate
        within = t % 5.0 - 2.0
        if within < 0:
            out.append(Reading(t, inf, resolution=0.01, overload=True))
            continue
        value = 82.0 + rng.gauss(0, 0.02) + (20.0 * exp(-within / 0.5) if settles else 0.0)
        out.append(Reading(t, round(value, 2), resolution=0.01))
    return out


def least(work: Callable[[], None]) -> float:
    """Seconds of the quickest round."""
    times = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times)


def main() -> None:
    """Print one line a rate."""
    print("microseconds a reading (least of five rounds)")
    print("readings/s  stream     parse+write   hold   ratio")
    for rate in (2.0, 5.0, 10.0, 50.0, 100.0, 1000.0):
        for settles in (False, True):
            readings = stream(rate, settles=settles)
            lines = [f"{r.t!r},{r.value!r},ohm".split(",") for r in readings]

            def parse_and_write(lines: list[list[str]] = lines) -> None:
                writer = csv.writer(io.StringIO())
                for t, value, unit in lines:
                    writer.writerow((float(t), float(value), unit))

            def hold(readings: list[Reading] = readings) -> None:
                feed = HoldDetector().feed
                for r in readings:
                    feed(r)

            base, cost = least(parse_and_write), least(hold)
            name = "settling" if settles else "steady"
            print(
                f"{rate:10.0f}  {name:9s} {1e6 * base / READINGS:12.2f} "
                f"{1e6 * cost / READINGS:7.2f} {cost / base:7.2f}"
            )


if __name__ == "__main__":
    main()
