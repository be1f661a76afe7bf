"""What the engine costs a reading, beside parsing that reading from text and writing it as CSV.

Three streams at each rate: steady touches of three seconds with two of air between them; touches
that settle for most of their three seconds; and the seeded traces of every family, mixed. Four
costs of each, in one run: parsing text with ``csv.reader`` and ``float`` and writing with
``csv.writer``; the hold alone; hold, correction and verdict with its budget (``Analysis``); and a
whole bench at work on a card, which begins a new step after each touch. Processor time, the least
of three rounds.

Run: python tests/benchmarks/engine_cost.py [readings a stream, default 20000]

Last printed, times parse+write; the aim is 4 for hold to verdict:

    readings/s              2      5     10     50    100   1000    mean
    hold to verdict
      mixed               5.9    5.6    4.8    2.6    1.7    1.0    3.6
      steady                                                        2.9
      settling                                                      4.5
    bench on a card
      mixed               9.2    7.8    6.1    2.8    1.9    1.1    4.9

Slow meters cost more by the reading, as a touch is a dozen readings there and ends in one verdict:
some 6 microseconds of the 100,000 and more until the next reading.
"""

import csv
import io
import random
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from math import exp, inf
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from meterlink.bench.analysis import Analysis
from meterlink.bench.bench import Bench
from meterlink.commands import Confirm
from meterlink.hold.detector import HoldDetector
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.correction import LeadZero, Temperature
from meterlink.judging.criterion import Criterion
from meterlink.quantities.window import Window
from meterlink.reading import Reading
from tests.meterlink.bench_hands import PROFILE, SECONDARY, card
from tests.traces.generator import trace

ROUNDS = 3
RATES = (2.0, 5.0, 10.0, 50.0, 100.0, 1000.0)
TOUCHES = 8
"""Touches before the bench gets another card."""
CARD = card(*[SECONDARY.replace('id = "secondary"', f'id = "s{i}"') for i in range(TOUCHES + 8)])
ACCURACY = (Accuracy(percent=0.8, counts=3.0),)
ASSESSOR = Assessor(
    Criterion.winding(Window(4000.0, 7000.0), reference=20.0),
    ACCURACY,
    LeadZero(value=0.12, u=0.01, dof=4.0, resolution=0.01),
    Temperature(celsius=25.0),
)
Stream = list[list[Reading]]
"""Readings in order, in pieces that each begin a new capture."""


def by_hand(rate: float, count: int, *, settles: bool) -> Stream:
    """Touches of three seconds, two seconds of air before each."""
    rng = random.Random(1)
    out: Stream = []
    while sum(map(len, out)) < count:
        piece = []
        for i in range(round(5 * rate * TOUCHES)):
            within = i / rate % 5.0 - 2.0
            if within < 0:
                piece.append(Reading(i / rate, inf, resolution=1.0, overload=True))
                continue
            value = 5200.0 + rng.gauss(0, 2) + (1200.0 * exp(-within / 0.5) if settles else 0.0)
            piece.append(Reading(i / rate, float(round(value)), resolution=1.0))
        out.append(piece)
    return out


def mixed(rate: float, count: int) -> Stream:
    """Seeded traces of every family."""
    out: Stream = []
    while sum(map(len, out)) < count:
        out.append(trace(800_000 + len(out), rate=rate, hard=False).readings)
    return out


def least(work: Callable[[], Callable[[], None]]) -> float:
    """Seconds of the quickest round; ``work`` prepares each round."""
    times = []
    for _ in range(ROUNDS):
        run = work()
        began = time.process_time()
        run()
        times.append(time.process_time() - began)
    return min(times)


def parsing(stream: Stream) -> Callable[[], None]:
    """Parse and write what would be a file: microseconds, and digits as a meter sends them."""
    text = "".join(f"{r.t:.6f},{r.value:.9g},ohm\n" for piece in stream for r in piece)

    def run() -> None:
        writer = csv.writer(io.StringIO())
        for t, value, unit in csv.reader(io.StringIO(text)):
            writer.writerow((float(t), float(value), unit))

    return run


def feeding(
    stream: Stream, made: Callable[[], Callable[[Reading], Sequence[object]]]
) -> Callable[[], None]:
    """Feed each piece to a new engine, made beforehand."""
    feeds = [made() for _ in stream]

    def run() -> None:
        for feed, piece in zip(feeds, stream, strict=True):
            for reading in piece:
                feed(reading)

    return run


def holding() -> Callable[[Reading], Sequence[object]]:
    """The hold alone."""
    return HoldDetector().feed


def analysing() -> Callable[[Reading], Sequence[object]]:
    """Hold, correction, verdict."""
    analysis = Analysis()
    analysis.judge_by(ASSESSOR)
    return analysis.feed


def working() -> Callable[[Reading], Sequence[object]]:
    """A bench whose card has begun."""
    bench = Bench(CARD, PROFILE, accuracy=ACCURACY)
    bench.begin(0.0)
    bench.tell(Confirm(), 0.0)
    return bench.feed


def main() -> None:
    """Print one line a rate and stream, then the mean ratio of each stream."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    print("microseconds a reading, and in brackets times parse+write")
    print("readings/s  stream     parse+write      hold alone   hold to verdict   bench on a card")
    sums: dict[str, list[float]] = {}
    for rate in RATES:
        streams = {
            "steady": by_hand(rate, count, settles=False),
            "settling": by_hand(rate, count, settles=True),
            "mixed": mixed(rate, count),
        }
        for name, stream in streams.items():
            n = sum(map(len, stream)) / 1e6
            costs = [least(partial(parsing, stream)) / n]
            costs += [
                least(partial(feeding, stream, made)) / n for made in (holding, analysing, working)
            ]
            total = sums.setdefault(name, [0.0] * 4)
            sums[name] = [a + b for a, b in zip(total, costs, strict=True)]
            print(line(f"{rate:10.0f}  {name:9s}", costs), flush=True)
    for name, costs in sums.items():
        print(line(f"{'all rates':>10s}  {name:9s}", [c / len(RATES) for c in costs]))


def line(head: str, costs: list[float]) -> str:
    """One line of the table."""
    base = costs[0]
    return f"{head}  {base:11.2f}" + "".join(f"  {c:7.2f} ({c / base:5.2f})" for c in costs[1:])


if __name__ == "__main__":
    main()
