"""Score what was stated of restless touches: each value, and the interval of the last one."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from math import hypot, isnan, sqrt

import numpy as np
from scipy import stats

from meterlink.events import Held
from tests.traces.restless import Touch

STANDS_LEAST, STANDS_SHARE = 2.0, 0.5
"""A stated value of what moves has to stand for so many seconds, or this share of the touch so
far if that is longer: for ours and for the observer alike."""


@lru_cache(maxsize=4096)
def quantile(dof: float) -> float:
    """Student's t for 95 %, two-sided."""
    return float(stats.t.ppf(0.975, dof))


def half_width(held: Held) -> float:
    """Half of the 95 % interval of what was stated."""
    return quantile(round(held.dof, 1)) * hypot(held.u, held.resolution / sqrt(12))


def observed(touch: Touch, held_t: float) -> float:
    """Half of the 95 % interval of one who knows the noise, at the same moment."""
    inside = touch.readings[touch.start : touch.end]
    t = np.array([r.t for r in inside if r.t <= held_t + 1e-9])
    digit = touch.resolution**2 / 12
    if not isnan(touch.low):
        u = touch.sd / sqrt(max(t.size / 2, 1.0))
        return 0.5 * (touch.high - touch.low) + 1.96 * sqrt(u * u + digit)
    if touch.memory:
        t = t[:: max(1, t.size // 200)]
        cov = touch.wander**2 * np.exp(-np.abs(t[:, None] - t) / touch.memory)
        cov += (touch.white**2 + 1e-18) * np.eye(t.size)
        one = np.ones(t.size)
        return 1.96 * sqrt(1 / float(one @ np.linalg.solve(cov, one)) + digit)
    u2 = touch.sd**2 / t.size
    if touch.family in {"creep", "warm"} or "mov" in touch.family:
        # He fits a line: the level at its end is twice as uncertain as the mean.
        stands = max(STANDS_LEAST, STANDS_SHARE * float(t[-1] - t[0]))
        at = min(int(t.size - 1), touch.truth.size - 1)
        later = min(
            int(np.searchsorted([r.t for r in inside], held_t + stands)), touch.truth.size - 1
        )
        slope = (
            (touch.truth[later] - touch.truth[at]) / max(inside[later].t - inside[at].t, 1e-9)
            if later > at
            else (touch.truth[-1] - touch.truth[-2]) / (inside[-1].t - inside[-2].t)
        )
        return 1.96 * sqrt(4 * u2 + digit) + abs(float(slope)) * stands
    return 1.96 * sqrt(u2 + digit)


@dataclass
class Stated:
    """Counts by family."""

    touches: Counter[str] = field(default_factory=Counter)
    due: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    values: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    far: Counter[str] = field(default_factory=Counter)
    doubled: Counter[str] = field(default_factory=Counter)
    held: Counter[str] = field(default_factory=Counter)
    inside: Counter[str] = field(default_factory=Counter)
    ratios: dict[str, list[float]] = field(default_factory=dict)
    delays: dict[str, list[float]] = field(default_factory=dict)
    cases: list[tuple[str, str, int, str]] = field(default_factory=list)

    def add(self, seed: int, touch: Touch, holds: Iterable[Held]) -> None:
        """Score one touch."""
        f, stated = touch.family, list(holds)
        self.touches[f] += 1
        if touch.due:
            self.due[f] += 1
            self.missed[f] += not stated
            if not stated:
                self.cases.append((f, "missed", seed, ""))
        firsts = sum(not getattr(h, "revises", False) for h in stated)
        self.doubled[f] += firsts > 1
        if firsts > 1:
            self.cases.append((f, "doubled", seed, ""))
        for h in stated:
            error = _error(touch, h) / touch.tol
            self.values[f] += 1
            self.false[f] += error > 1
            self.far[f] += error > 3
            if error > 1:
                self.cases.append((f, "false", seed, f"{h.t:.2f} {error:.1f} tol"))
        if not stated:
            return
        last = stated[-1]
        self.held[f] += 1
        half = half_width(last)
        out = abs(last.value - float(touch.truth[-1])) > half * (1 + 1e-9)
        self.inside[f] += not out
        if out:
            self.cases.append((f, "outside", seed, f"{last.t:.2f}"))
        self.ratios.setdefault(f, []).append(half / observed(touch, last.t))
        start = touch.readings[touch.start].t
        self.delays.setdefault(f, []).append(stated[0].t - start)

    def table(self) -> str:
        """One line a family; missed, false and doubled in a thousand."""
        rows = [
            "family            n   due  missed   false   far  doubled  coverage     p    "
            "width  stated  delay 50 % 90 %"
        ]
        for f in self.touches:
            n, k = self.held[f], self.inside[f]
            p = float(stats.binomtest(k, n, 0.94, alternative="less").pvalue) if n else 1.0
            d = np.quantile(self.delays.get(f, [0.0]), [0.5, 0.9])
            rows.append(
                f"{f:14s} {self.touches[f]:5d} {self.due[f]:5d} "
                f"{1000 * self.missed[f] / max(self.due[f], 1):7.2f} "
                f"{1000 * self.false[f] / max(self.values[f], 1):7.2f} "
                f"{1000 * self.far[f] / max(self.values[f], 1):5.2f} "
                f"{1000 * self.doubled[f] / self.touches[f]:8.2f} "
                f"{k / max(n, 1):9.4f} {p:5.2f} "
                f"{np.median(self.ratios.get(f, [0.0])):8.2f} "
                f"{self.values[f] / max(n, 1):7.2f} {d[0]:10.2f} {d[1]:5.2f}"
            )
        return "\n".join(rows)


def _error(touch: Touch, held: Held) -> float:
    """How far a stated value is from the truth of its moment, or from what the contact shows."""
    if not isnan(touch.low):
        return max(touch.low - held.value, held.value - touch.high, 0.0)
    at = [i for i, r in enumerate(touch.readings) if r.t <= held.t + 1e-9][-1] - touch.start
    return abs(held.value - float(touch.truth[min(max(at, 0), touch.truth.size - 1)]))
