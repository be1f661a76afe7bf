"""Touches whose readings never come to rest: noise, a contact that jumps, values that move.

``touch(seed, family)`` gives the readings of one touch with air before and after it, and the truth
at each of them. What counts as true: of noise the value without it; of a contact that jumps the
level of the moment; of what creeps or cools the value of the moment.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from meterlink.reading import Reading
from tests.traces.meters import Digits, Floats, Meter, draw_meter

COPPER = 0.00393
"""Share by which copper's resistance rises each kelvin from 20 °C (IEC 60028)."""


@dataclass(frozen=True)
class Touch:
    """One touch with its truth."""

    family: str
    readings: list[Reading]
    start: int
    """Index of the first reading in contact."""
    end: int
    """Index of the first reading in the air again."""
    truth: Floats
    """At each reading in contact."""
    sd: float
    """Of one reading about the truth, all noise together."""
    resolution: float
    white: float
    """Standard deviation of what of the noise is white ..."""
    wander: float = 0.0
    """... and of what wanders ..."""
    memory: float = 0.0
    """... with this time constant, seconds."""
    low: float = field(default=float("nan"))
    """Where a contact jumps: its lower level ..."""
    high: float = field(default=float("nan"))
    """... and its upper one."""

    @property
    def tol(self) -> float:
        """How far a stated value may be off."""
        return max(self.resolution, 2 * self.sd, 0.002 * abs(float(self.truth[0])), 1e-3)

    @property
    def due(self) -> bool:
        """Whether a hold must come: six clean readings and a second."""
        first, last = self.readings[self.start].t, self.readings[self.end - 1].t
        return self.end - self.start >= 6 and last - first >= 1.0 - 1e-9


@dataclass
class _Drawn:
    """What a family says of a touch: truth and noise at its times."""

    truth: Floats
    noise: Floats
    wander: float = 0.0
    memory: float = 0.0
    white: float = 0.0
    levels: tuple[float, float] = (float("nan"), float("nan"))


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """One number, its logarithm uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _size_of_noise(rng: np.random.Generator, m: Meter, value: float) -> float:
    """0.1 to 5 % of the value, or 1 to 30 steps where that is no more than 5 %."""
    if rng.random() < 0.5:
        return value * log_uniform(rng, 0.001, 0.05)
    return min(log_uniform(rng, 1.0, 30.0) * m.resolution(value), 0.05 * value)


def wandering(rng: np.random.Generator, t: Floats, memory: float) -> Floats:
    """Noise of first order, unit standard deviation."""
    out, fresh = np.empty(t.shape), rng.standard_normal(t.size)
    for i in range(t.size):
        gone = np.exp(-(t[i] - t[i - 1]) / memory) if i else 0.0
        out[i] = (gone * out[i - 1] if i else 0.0) + np.sqrt(1 - gone**2) * fresh[i]
    return out


def white_noise(rng: np.random.Generator, m: Meter, t: Floats, value: float) -> _Drawn:
    sd = _size_of_noise(rng, m, value)
    return _Drawn(np.full(t.shape, value), sd * rng.standard_normal(t.size), white=sd)


def wander(rng: np.random.Generator, m: Meter, t: Floats, value: float) -> _Drawn:
    sd, memory = _size_of_noise(rng, m, value), log_uniform(rng, 0.1, 1.0)
    return _Drawn(np.full(t.shape, value), sd * wandering(rng, t, memory), sd, memory)


def two_levels(rng: np.random.Generator, m: Meter, t: Floats, value: float) -> _Drawn:
    high = value * (1 + log_uniform(rng, 0.005, 0.12))
    dwell = log_uniform(rng, 0.3, 3.0)
    up, now, begun = np.empty(t.shape, bool), bool(rng.random() < 0.5), 0.0
    until = float(rng.uniform(0.2, 0.9)) * float(t[-1]) if rng.random() < 0.5 else 0.0
    until = until or float(rng.exponential(dwell))
    for i, at in enumerate(t):
        while at - begun > until:
            now, begun, until = not now, begun + until, float(rng.exponential(dwell)) + 0.05
        up[i] = now
    levels = (value, high) if up.any() and not up.all() else (float("nan"),) * 2
    return _Drawn(np.where(up, high, value), np.zeros(t.shape), levels=levels)


def creep(rng: np.random.Generator, _m: Meter, t: Floats, value: float) -> _Drawn:
    size = log_uniform(rng, 0.02, 0.2) * float(rng.choice([-0.5, 1.0, 1.0]))
    tau = log_uniform(rng, 5.0, 60.0)
    return _Drawn(value + size * np.exp(-t / tau), np.zeros(t.shape))


def warm(rng: np.random.Generator, _m: Meter, t: Floats, value: float) -> _Drawn:
    kelvin, tau = float(rng.uniform(20.0, 60.0)), log_uniform(rng, 60.0, 400.0)
    return _Drawn(value * (1 + COPPER * kelvin * np.exp(-t / tau)), np.zeros(t.shape))


Restless = Callable[[np.random.Generator, Meter, Floats, float], _Drawn]
RESTLESS: dict[str, Restless] = {
    f.__name__: f for f in (white_noise, wander, two_levels, creep, warm)
}
LONG = {"creep", "warm"}


def touch(seed: int, family: str, rate: float | None = None) -> Touch:
    """Draw a touch. The same arguments give the same touch."""
    rng = np.random.default_rng([seed, 31, sorted(RESTLESS).index(family)])
    m = draw_meter(rng, rate, hard=False)
    lasts = max(1.0, 5.0 / m.rate) * 1.02 + 1.0 / m.rate + float(rng.exponential(1.5))
    if family in LONG:
        lasts = max(lasts, float(rng.uniform(3.0, 25.0 if m.rate < 60 else 8.0)))
    value = log_uniform(rng, 0.3, 30.0 if family == "creep" else 1.5e4)
    before = max(0.8, 4.0 / m.rate)
    taken = np.arange(0.0, before + lasts + before, 1.0 / m.rate)
    inside = (taken >= before) & (taken < before + lasts)
    t = taken[inside] - before
    drawn = RESTLESS[family](rng, m, t, value)
    step, own = m.resolution(value), m.sd(value)
    values = np.full(taken.shape, np.inf)
    values[inside] = drawn.truth + drawn.noise + own * m.noise(t.size, rng)
    values = np.round(values / step) * step
    stamps = taken + np.abs(rng.normal(0, m.jitter, taken.size)).clip(0, 0.9) / m.rate
    known = m.digits is Digits.KNOWN
    readings = [
        Reading(float(s), float(v), resolution=step if known else None, overload=not np.isfinite(v))
        for s, v in zip(stamps, values, strict=True)
    ]
    begun = np.flatnonzero(inside)
    white = float(np.hypot(drawn.white, own))
    return Touch(
        family,
        readings,
        int(begun[0]),
        int(begun[-1]) + 1,
        drawn.truth,
        float(np.hypot(white, drawn.wander)),
        step,
        white,
        drawn.wander,
        drawn.memory,
        *drawn.levels,
    )
