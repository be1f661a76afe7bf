"""Score the holds of a detector against the truth of seeded traces."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from math import ceil, inf

import numpy as np

from meterlink.events import Held
from meterlink.reading import Reading
from tests.traces.generator import Goal, Span, Trace

_SEEN = 3
"""Clean readings from which on it can be known that the contact became good: a hold's least."""


@dataclass
class Score:
    """Counts by family, delays of the good holds, and the worst cases to look at."""

    touches: Counter[str] = field(default_factory=Counter)
    due: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    false_far: Counter[str] = field(default_factory=Counter)
    false_value: Counter[str] = field(default_factory=Counter)
    """Of the false ones those whose value is out by more than its tolerance, not merely early."""
    doubled: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    off: Counter[str] = field(default_factory=Counter)
    rough: Counter[str] = field(default_factory=Counter)
    """Holds that say of themselves that the contact is poor, before it is good, and that are off
    by no more than two standard deviations of its readings."""
    revised: Counter[str] = field(default_factory=Counter)
    """Holds that took the place of another; each is judged, and none is a double."""
    units: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    by_family: dict[str, list[float]] = field(default_factory=dict)
    cases: list[tuple[str, int, float, str]] = field(default_factory=list)

    def add(self, seed: int, trace: Trace, holds: Iterable[Held]) -> None:
        """Score the holds of one trace."""
        left = list(holds)
        for i, span in enumerate(trace.spans):
            until = trace.spans[i + 1].start if i + 1 < len(trace.spans) else float("inf")
            mine = [h for h in left if span.start <= h.t < until]
            left = [h for h in left if not span.start <= h.t < until]
            self._span(seed, trace, span, mine)
        for h in left:
            self.touches["air"] += 0
            self._wrong(seed, "air", h.t, "air", inf)

    def _wrong(self, seed: int, family: str, t: float, why: str, error: float) -> None:
        self.false[family] += 1
        self.false_far[family] += error > 3
        self.false_value[family] += error > 1
        self.cases.append(("false", seed, t, f"{family} {why}"))

    def _span(self, seed: int, trace: Trace, span: Span, holds: list[Held]) -> None:
        family = span.family
        self.touches[family] += max(1, len(span.goals))
        got: Counter[int] = Counter()
        for h in holds:
            k, goal = _goal_of(span, h)
            if _is_rough(trace, span, goal, h):
                self.rough[family] += 1
                continue
            if goal is None:
                self._wrong(seed, family, h.t, "no goal", inf)
                continue
            got[k] += 1
            self.revised[family] += h.revises
            error = abs(h.value - goal.at(h.t)) / goal.tol
            if goal.barred:
                self._wrong(seed, family, h.t, f"short {len(goal.clean)}", error)
            elif h.t < goal.clean[0] - 1e-9 or (error > 1 and h.t > goal.clean[-1] + 1e-9):
                self._wrong(seed, family, h.t, f"{error:.1f} tol", error)
            elif got[k] > 1 and not h.revises:
                self.doubled[family] += 1
                self.cases.append(("doubled", seed, h.t, family))
            else:
                if error > 2:
                    self.off[family] += 1
                    self.cases.append(("off", seed, h.t, f"{family} {error:.1f} tol"))
                if goal.due and got[k] == 1:
                    self._delay(trace, goal, h, family)
        for k, goal in enumerate(span.goals):
            if goal.due:
                self.due[family] += 1
                if not got[k]:
                    self.missed[family] += 1
                    self.cases.append(("missed", seed, goal.clean[0], family))

    def _delay(self, trace: Trace, goal: Goal, h: Held, family: str) -> None:
        floor = max(3, ceil(0.2 * trace.meter.rate - 1e-9))
        took = h.t - goal.clean[0]
        units = sum(1 for c in goal.clean if c <= h.t) / floor
        self.units.append(units)
        self.seconds.append(took)
        self.by_family.setdefault(family, []).append(units)

    def line(self) -> str:
        """One line of figures: per thousand, then delays."""
        n, due = sum(self.touches.values()), sum(self.due.values())
        q = np.quantile(self.units, [0.5, 0.9, 0.99]) if self.units else [0, 0, 0]
        s = np.quantile(self.seconds, [0.5, 0.9, 0.99]) if self.seconds else [0, 0, 0]
        per = [
            1000 * sum(c.values()) / n
            for c in (self.false, self.false_value, self.false_far, self.doubled, self.off)
        ]
        missed = 1000 * sum(self.missed.values()) / max(due, 1)
        return (
            f"n {n} due {due} | false {per[0]:.2f} by value {per[1]:.2f} far {per[2]:.2f} "
            f"doubled {per[3]:.2f} off {per[4]:.2f} missed {missed:.2f} | "
            f"units {q[0]:.2f} {q[1]:.2f} {q[2]:.2f} | s {s[0]:.2f} {s[1]:.2f} {s[2]:.2f}"
        )

    def table(self) -> str:
        """One line a family, per thousand touches of it."""
        rows = []
        for f in sorted(self.touches):
            n, due = max(self.touches[f], 1), max(self.due[f], 1)
            q = np.quantile(self.by_family.get(f, [0.0]), [0.5, 0.9, 0.99])
            rows.append(
                f"{f:18s} n {n:6d} due {due:6d} false {1000 * self.false[f] / n:6.2f} "
                f"far {1000 * self.false_far[f] / n:5.2f} dbl {1000 * self.doubled[f] / n:5.2f} "
                f"off {1000 * self.off[f] / n:5.2f} missed {1000 * self.missed[f] / due:6.2f} "
                f"units {q[0]:.2f} {q[1]:.2f} {q[2]:.2f} "
                f"revised {1000 * self.revised[f] / n:6.1f} rough {1000 * self.rough[f] / n:5.1f}"
            )
        return "\n".join(rows)


def _is_rough(trace: Trace, span: Span, goal: Goal | None, h: Held) -> bool:
    """Whether a hold says that the contact is poor, and is as right as its readings allow.

    Its tolerance is as of any hold, two standard deviations of a reading: of those of the poor
    stretch, which lasts until the first clean reading or the lift.
    """
    clean = () if goal is None else goal.clean
    if not h.poor or sum(c <= h.t + 1e-9 for c in clean) >= _SEEN:
        return False
    until = clean[0] if clean else span.end
    values = [r.value for r in trace.readings if span.start <= r.t < until and not r.overload]
    return bool(values) and abs(h.value - span.value) <= 2 * float(np.std(values))


def _goal_of(span: Span, h: Held) -> tuple[int, Goal | None]:
    """The goal that a hold belongs to: the last begun, or the one before if that one fits."""
    begun = [(k, g) for k, g in enumerate(span.goals) if g.start <= h.t + 1e-9]
    if not begun:
        return -1, None
    if len(begun) > 1 and abs(h.value - begun[-2][1].value) <= 2 * begun[-2][1].tol:
        return begun[-2]
    return begun[-1]


def holds_of(
    feed: Callable[[Reading], Iterable[object]], readings: Iterable[Reading]
) -> list[Held]:
    """Feed every reading; return the holds."""
    return [e for r in readings for e in feed(r) if isinstance(e, Held)]
