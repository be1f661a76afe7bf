"""Seeded traces with their truth: what a meter would send while somebody probes.

``trace(seed)`` gives the readings of one meter over one to five touches, and for each stretch
that goes to some value (a ``Goal``) where it goes, which readings are clean, and whether a hold
is due, allowed or wrong there.
"""

from dataclasses import dataclass

import numpy as np

from meterlink.reading import Reading
from tests.traces.families import EXPECTED, FAMILIES, Piece, Plan
from tests.traces.meters import Digits, Floats, Meter, draw_meter


@dataclass(frozen=True)
class Goal:
    """A stretch of a touch that is at, or on its way to, one value."""

    family: str
    value: float
    drift: float
    start: float
    """When the stretch begins, seconds."""
    end: float
    tol: float
    sd: float
    resolution: float
    clean: tuple[float, ...]
    """Times of the clean readings: those from which the value stays within ``tol``."""

    @property
    def due(self) -> bool:
        """Whether a hold must come."""
        return len(self.clean) >= 6 and self.clean[-1] - self.clean[0] >= 1.0 - 1e-9

    @property
    def barred(self) -> bool:
        """Whether a hold must not come, as the touch is too short."""
        return len(self.clean) <= 2 or self.clean[-1] - self.clean[0] <= 0.2 + 1e-9

    def at(self, t: float) -> float:
        """The true value at ``t``."""
        return self.value * (1 + self.drift * (t - self.start))


@dataclass(frozen=True)
class Span:
    """One touch: from the first reading in contact to the first without."""

    family: str
    start: float
    end: float
    goals: tuple[Goal, ...]
    value: float
    """Of the part that is touched first, whatever the contact makes of it."""


@dataclass(frozen=True)
class Trace:
    """Readings and truth."""

    meter: Meter
    readings: list[Reading]
    spans: list[Span]


class _Strip:
    """The undisturbed signal, piece by piece, sampled at the meter's times."""

    def __init__(self, meter: Meter, rng: np.random.Generator) -> None:
        self.meter, self.rng = meter, rng
        self.now = 0.0
        self.pieces: list[tuple[float, Piece, float, str]] = []
        self.plans: list[tuple[float, float, Plan, str]] = []

    def air(self, floating: bool) -> None:
        lasts = max(0.6, 3.0 / self.meter.rate) * float(self.rng.uniform(1.05, 2.0))
        level = float(10 ** self.rng.uniform(6.3, 7.7))
        seed = int(self.rng.integers(2**31))

        def wander(t: Floats) -> Floats:
            r = np.random.default_rng(seed)
            x = level * np.exp(r.normal(0, 0.3, t.shape))
            return np.where(r.random(t.shape) < 0.2, np.inf, x)

        rule = wander if floating else (lambda t: np.full(t.shape, np.inf))
        self.pieces.append((self.now, Piece(lasts, rule, noisy=False), 0.0, ""))
        self.now += lasts

    def touch(self, family: str, value: float) -> None:
        plan = FAMILIES[family](self.rng, self.meter, value)
        begins = self.now
        for piece in plan.pieces:
            self.pieces.append((self.now, piece, value, family))
            self.now += piece.lasts
        self.plans.append((begins, self.now, plan, family))


def _times(meter: Meter, end: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """When readings are taken, and the time stamps that they get."""
    taken = np.arange(float(rng.uniform(0, 1)), end * meter.rate, 1.0) / meter.rate
    if meter.burst > 1:
        last = np.minimum(
            (np.arange(taken.size) // meter.burst + 1) * meter.burst - 1, taken.size - 1
        )
        within = np.arange(taken.size) % meter.burst
        return taken, taken[last] + within * 1e-3
    late = np.abs(rng.normal(0, meter.jitter, taken.size)).clip(0, 0.95) / meter.rate
    return taken, np.maximum.accumulate(taken + late) + np.arange(taken.size) * 1e-9


def _sample(strip: _Strip, taken: Floats) -> tuple[Floats, Floats]:
    """The undisturbed value and the noise's standard deviation at each reading."""
    x, sd = np.full(taken.shape, np.inf), np.zeros(taken.shape)
    for start, piece, value, _family in strip.pieces:
        here = (taken >= start) & (taken < start + piece.lasts)
        x[here] = piece.rule(taken[here] - start)
        if piece.noisy and value:
            sd[here] = strip.meter.sd(piece.goal or value)
    return x, sd


def _disturb(strip: _Strip, taken: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Add dropouts and lone outliers; return the values and which readings they struck."""
    rng, struck = strip.rng, np.zeros(taken.shape, bool)
    y = x.copy()
    for begins, ends, plan, _family in strip.plans:
        for start, lasts in plan.dropouts:
            out = (taken >= begins + start) & (taken < begins + start + lasts) & (taken < ends)
            y[out], struck[out] = np.inf, True
        if plan.outliers:
            for i in np.flatnonzero((taken >= begins) & (taken < ends)):
                if rng.random() < plan.outliers and not (i and struck[i - 1]):
                    struck[i] = True
                    y[i] = rng.choice([np.inf, x[i] * 10, x[i] * 0.1, x[i] * rng.uniform(0.5, 1.6)])
    return y, struck


def _rounded(strip: _Strip, taken: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Values as the meter prints them, and the step of the last digit of each."""
    step = np.full(taken.shape, 1.0)
    for start, piece, value, _family in strip.pieces:
        here = (taken >= start) & (taken < start + piece.lasts)
        if value:
            step[here] = piece.step or strip.meter.resolution(piece.goal or value)
        else:
            step[here] = strip.meter.resolution(1e7)
    # Far above the range of its goal a value is shown on a range of its own.
    far = np.isfinite(y) & (np.abs(y) > step * strip.meter.counts)
    step[far] = [strip.meter.resolution(v) for v in y[far]]
    if strip.meter.digits is Digits.NINE:
        lsb = step * 0.7390851
        return np.round(y / lsb) * lsb, step
    return np.round(y / step) * step, step


def _goals(strip: _Strip, taken: Floats, stamps: Floats, x: Floats, struck: Floats) -> list[Span]:
    spans = []
    for begins, ends, _plan, family in strip.plans:
        inside = np.flatnonzero((taken >= begins) & (taken < ends))
        if not inside.size:
            continue
        values = [p.goal for s, p, _, _ in strip.pieces if begins <= s < ends]
        part = next(v for s, _, v, _ in strip.pieces if begins <= s < ends)
        goals = [
            _goal(strip, (begins, ends), value, taken, stamps, x, struck, family)
            for value in dict.fromkeys(values)
            if value is not None
        ]
        end = int(inside[-1]) + 1
        ended = float(stamps[end]) if end < stamps.size else float(stamps[-1])
        spans.append(Span(family, float(stamps[inside[0]]), ended, tuple(goals), part))
    return spans


def _goal(
    strip: _Strip,
    between: tuple[float, float],
    value: float,
    taken: Floats,
    stamps: Floats,
    x: Floats,
    struck: Floats,
    family: str,
) -> Goal:
    meter = strip.meter
    mine = [
        (s, p) for s, p, _, _ in strip.pieces if between[0] <= s < between[1] and p.goal == value
    ]
    start, end = mine[0][0], mine[-1][0] + mine[-1][1].lasts
    drift = mine[0][1].drift
    sd, resolution = meter.sd(value), meter.resolution(value)
    tol = max(resolution, 2 * sd, 0.002 * abs(value), 1e-3)
    here = np.flatnonzero((taken >= start) & (taken < end))
    goal = value * (1 + drift * (taken[here] - start))
    fine = (np.abs(x[here] - goal) <= tol) & ~struck[here]
    wrong = ~fine & ~struck[here]
    if family == "falling_pressure":
        # Clean from the start until it leaves the tolerance.
        stop = int(np.argmax(wrong)) if wrong.any() else here.size
        keep = np.arange(here.size) < stop
    else:
        last = np.flatnonzero(wrong)
        keep = np.arange(here.size) > (last[-1] if last.size else -1)
    clean = tuple(float(s) for s in stamps[here[keep & fine]])
    left = float(stamps[here[0]]) if here.size else start
    right = float(stamps[here[-1]]) if here.size else end
    return Goal(family, value, drift, left, right, tol, sd, resolution, clean)


def trace(
    seed: int,
    families: tuple[str, ...] = tuple(EXPECTED),
    touches: int | None = None,
    rate: float | None = None,
    hard: bool = True,
) -> Trace:
    """Draw a trace. The same arguments give the same trace."""
    rng = np.random.default_rng([seed, 20])
    meter = draw_meter(rng, rate, hard)
    strip = _Strip(meter, rng)
    floating = rng.random() < 0.12
    same = float(10 ** rng.uniform(-0.7, 4.2)) if rng.random() < 0.3 else 0.0
    strip.air(floating)
    for _ in range(touches or int(rng.integers(1, 6))):
        value = same or float(10 ** rng.uniform(-0.7, 4.2))
        strip.touch(str(rng.choice(families)), value)
        strip.air(floating)
    taken, stamps = _times(meter, strip.now, rng)
    x, sd = _sample(strip, taken)
    y, struck = _disturb(strip, taken, x)
    hum = (
        meter.ripple_sds
        * np.sqrt(2)
        * np.sin(2 * np.pi * meter.ripple_hz * taken + rng.uniform(0, 7))
    )
    y = y + sd * (meter.noise(taken.size, rng) + (hum if meter.ripple_hz else 0.0))
    values, step = _rounded(strip, taken, y)
    known = meter.digits is Digits.KNOWN
    readings = [
        Reading(
            t=float(t),
            value=float(v),
            resolution=float(s) if known else None,
            overload=not np.isfinite(v),
        )
        for t, v, s in zip(stamps, values, step, strict=True)
    ]
    return Trace(meter, readings, _goals(strip, taken, stamps, x, struck))
