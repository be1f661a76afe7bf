"""How often a verdict that is stated as clear is wrong, over the seeded traces of every family.

Each touch is judged against a window of its own with one edge near the true value: 0.2 to 20
tolerances away, either side. The meter is taken as exact but for its noise and last digit, as a
budget with more in it only makes fewer verdicts clear. A wrong verdict is one of another region
than that of the true value at the moment of the hold; by how much is the true value's distance
from the edge, against the larger of one resolution and two standard deviations of the noise.
What is held too early is judged as well; a hold where there is no true value is not.

Run: python tests/benchmarks/hold_verdicts.py [traces, default 14000] [first seed, default 0]

Last printed with 20,000 traces from seed 95,000,000: 49,786 verdicts, 45,043 of them clear; of
these 15 wrong, 0.33 in 1,000 (at most 0.51 with 95 %), three by more than allowed: 6.7, 1.7 and
1.2 times, slow or doubled settling that chance made look done.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from scipy import stats

from meterlink.events import Held
from meterlink.hold.detector import HoldDetector
from meterlink.judging.assess import Assessor
from meterlink.judging.criterion import Criterion
from meterlink.quantities.window import Window
from tests.traces.generator import Goal, Span, Trace, trace


@dataclass(frozen=True)
class Said:
    """One verdict on a touch whose goal is known."""

    family: str
    clear: bool
    wrong: bool
    excess: float
    """Distance of the true value from the edge, in what a wrong verdict may be out by."""


def near(rng: np.random.Generator, goal: Goal) -> Assessor:
    """What judges a touch: a window with one edge near the goal."""
    away = goal.tol * float(10 ** rng.uniform(-0.7, 1.3)) * float(rng.choice([-1.0, 1.0]))
    edge = max(goal.value + away, 0.2 * goal.value)
    low, high = (edge, 2 * edge) if rng.random() < 0.5 else (0.5 * edge, edge)
    criterion = Criterion.winding(Window(low, high), reference=None)
    return Assessor(criterion, resolution=goal.resolution)


def said_of(span: Span, held: list[Held], by: Assessor) -> Iterator[Said]:
    """The verdicts of one touch."""
    edges = [by.criterion.window.low, by.criterion.window.high]
    for hold in held:
        begun = [g for g in span.goals if g.start <= hold.t + 1e-9]
        if not begun:
            continue
        goal = begun[-1]
        truth = goal.at(hold.t)
        judged = by.assess(hold).judgement
        right = by.criterion.verdict(truth)
        excess = min(abs(truth - e) for e in edges) / max(goal.resolution, 2 * goal.sd)
        yield Said(span.family, judged.clear, judged.verdict is not right, excess)


def verdicts(seed: int, made: Trace) -> Iterator[Said]:
    """Go through one trace, aiming again at each touch."""
    rng = np.random.default_rng([seed, 21])
    detector, at = HoldDetector(), 0
    for i, span in enumerate(made.spans):
        until = made.spans[i + 1].start if i + 1 < len(made.spans) else float("inf")
        by = near(rng, span.goals[0]) if span.goals else None
        detector.aim_at(None if by is None else by.aim())
        held: list[Held] = []
        while at < len(made.readings) and made.readings[at].t < until:
            held += [e for e in detector.feed(made.readings[at]) if isinstance(e, Held)]
            at += 1
        if by is not None:
            yield from said_of(span, held, by)


def main() -> None:
    """Print how often clear verdicts are wrong, and by how much."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 14_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    all_said = [
        s for seed in range(first, first + count) for s in verdicts(seed, trace(seed, hard=False))
    ]
    clear = [s for s in all_said if s.clear]
    wrong = [s for s in clear if s.wrong]
    beyond = [s for s in wrong if s.excess > 1]
    print(f"{len(all_said)} verdicts, {len(clear)} of them clear")
    for name, bad in (("clear and wrong", wrong), ("of them beyond resolution or 2 sd", beyond)):
        k, n = len(bad), len(clear)
        upper = 1000 * float(stats.beta.ppf(0.95, k + 1, n - k))
        print(f"  {name:34s} {k:4d}: {1000 * k / n:5.2f} in 1,000, at most {upper:5.2f} with 95 %")
    for s in sorted(wrong, key=lambda s: -s.excess)[:12]:
        print(f"    {s.family:18s} {s.excess:6.2f}")


if __name__ == "__main__":
    main()
