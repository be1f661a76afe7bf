"""What happens under the probes, family by family: the signal of one touch, with its truth.

A family is a function ``(rng, meter, value) -> Plan``. A plan gives pieces in order; each piece
is a stretch of time with a rule for the undisturbed value, and where that value is going.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.traces.meters import Floats, Meter

Rule = Callable[[Floats], Floats]
"""Seconds since the start of the piece to ohms; infinite is an overload."""


@dataclass(frozen=True)
class Piece:
    """A stretch of one touch."""

    lasts: float
    rule: Rule
    goal: float | None = None
    """Where the value is going, at the start of the piece; None for nowhere."""
    drift: float = 0.0
    """Share by which goal and value move together each second (cooling)."""
    noisy: bool = True
    step: float = 0.0
    """Rounding of its own (a coarser range); 0 for the meter's."""


@dataclass(frozen=True)
class Plan:
    """One touch."""

    pieces: list[Piece]
    outliers: float = 0.0
    """Chance that a reading is a lone outlier."""
    dropouts: list[tuple[float, float]] = field(default_factory=list)
    """Start and length in seconds of losses of contact."""


def flat(value: float) -> Rule:
    return lambda t: np.full(t.shape, value)


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _long(rng: np.random.Generator, m: Meter) -> float:
    """A stretch of steady contact that is due a hold, sometimes only just."""
    least = max(1.0, 5.0 / m.rate) * 1.02 + 1.0 / m.rate
    return least + (0.0 if rng.random() < 0.1 else float(rng.exponential(1.0)))


def steady(rng: np.random.Generator, m: Meter, value: float) -> Piece:
    return Piece(_long(rng, m), flat(value), value)


def clean(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    return Plan([steady(rng, m, value)])


def bouncing(rng: np.random.Generator, value: float, lasts: float) -> Piece:
    """Contact that comes and goes: overloads, and values raised by a contact resistance."""
    seed = int(rng.integers(2**31))
    open_share, scale = float(rng.uniform(0.1, 0.6)), _log(rng, 0.05, 30.0)

    def rule(t: Floats) -> Floats:
        r = np.random.default_rng(seed)
        raised = value * (1 + scale * r.exponential(1.0, t.shape)) + r.exponential(0.5, t.shape)
        return np.where(r.random(t.shape) < open_share, np.inf, raised)

    return Piece(lasts, rule)


def short_bounce(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    return Plan([bouncing(rng, value, float(rng.uniform(0.02, 0.3))), steady(rng, m, value)])


def long_bounce(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    return Plan([bouncing(rng, value, float(rng.uniform(0.3, 2.0))), steady(rng, m, value)])


def settling_rule(value: float, size: float, tau: float) -> Rule:
    return lambda t: value * (1 + size * np.exp(-t / tau))


def _settle(rng: np.random.Generator, m: Meter, value: float, tau: float, size: float) -> Piece:
    waits = tau * max(np.log(abs(size) / 0.002), 0.5)
    return Piece(_long(rng, m) + waits, settling_rule(value, size, tau), value)


def settling(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    size = _log(rng, 0.02, 1.5) * (1 if rng.random() < 0.6 else -0.6)
    return Plan([_settle(rng, m, value, _log(rng, 0.03, 1.4), size)])


def slow_settling(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    size = _log(rng, 0.02, 0.6) * float(rng.choice([-1.0, 1.0]))
    return Plan([_settle(rng, m, value, _log(rng, 0.6, 1.4), size)])


def faint_settling(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """Settling that starts so near its end that it can hide in the noise."""
    size = _log(rng, 0.003, 0.02) * float(rng.choice([-1.0, 1.0]))
    return Plan([_settle(rng, m, value, _log(rng, 0.1, 1.4), size)])


def inductive(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """A winding: over range at first, then falling with L/R, perhaps with a slower part."""
    return _winding(rng, m, value, ring=0.0)


def ringing(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """A winding that rings as well."""
    return _winding(rng, m, value, ring=_log(rng, 0.01, 0.3))


def _winding(rng: np.random.Generator, m: Meter, value: float, ring: float) -> Plan:
    tau, slow = _log(rng, 0.05, 0.6), _log(rng, 0.2, 1.4)
    size, part = _log(rng, 0.3, 20.0), float(rng.choice([0.0, _log(rng, 0.005, 0.2)]))
    hz = float(rng.uniform(1.0, 8.0))

    def rule(t: Floats) -> Floats:
        falls = size * np.exp(-t / tau) + part * np.exp(-t / slow)
        rings = ring * np.exp(-t / tau) * np.cos(2 * np.pi * hz * t)
        x = value * (1 + falls + rings)
        return np.where(x > 12 * value, np.inf, x)

    waits = max(tau * np.log(size / 0.002), slow * np.log(max(part, 0.003) / 0.002))
    return Plan([Piece(_long(rng, m) + waits, rule, value)])


def creeping(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """Settling that no single time constant describes (stretched exponential)."""
    size, tau, power = _log(rng, 0.01, 0.3), _log(rng, 0.1, 0.6), float(rng.uniform(0.6, 0.9))

    def rule(t: Floats) -> Floats:
        return value * (1 - size * np.exp(-((t / tau) ** power)))

    waits = tau * max(np.log(size / 0.002), 0.5) ** (1 / power)
    return Plan([Piece(_long(rng, m) + waits, rule, value)])


def autorange(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """Down through the ranges: blanks, at most one full-scale and one coarse value, the right one.

    None of the wrong values lasts for as long as a touch that may be held.
    """
    kinds = rng.permutation(["blank", "blank", "coarse", "full scale"])[: int(rng.integers(1, 4))]
    pieces = []
    for i, kind in zip(range(kinds.size, 0, -1), kinds, strict=True):
        lasts = float(rng.uniform(0.05, 0.35))
        if kind == "blank":
            pieces.append(Piece(lasts, flat(np.inf)))
            continue
        lasts = min(lasts, 1.95 / m.rate) if rng.random() < 0.5 else min(lasts, 0.2)
        step = m.resolution(value) * 10.0**i
        if kind == "coarse":
            pieces.append(Piece(lasts, flat(value * (1 + float(rng.normal(0, 0.03)))), step=step))
        else:
            pieces.append(Piece(lasts, flat(step * m.counts), step=step))
    return Plan([*pieces, steady(rng, m, value)])


def _ramp_rate(rng: np.random.Generator, m: Meter, value: float) -> float:
    least = max(0.03 * value, 3 * m.resolution(value), 6 * m.sd(value))
    return least * _log(rng, 1.0, 8.0) * float(rng.choice([-1.0, 1.0]))


def ramp(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    rate = _ramp_rate(rng, m, value)
    return Plan([Piece(float(rng.uniform(0.5, 4.0)), lambda t: value + rate * t)])


def ramp_then_steady(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    rate, lasts = _ramp_rate(rng, m, value), float(rng.uniform(0.3, 2.0))
    moving = Piece(lasts, lambda t: value + rate * (t - lasts))
    return Plan([moving, steady(rng, m, value)])


def too_short(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    lasts = float(rng.uniform(0.02, 0.2))
    if rng.random() < 0.5:
        lasts = min(lasts, 2.0 / m.rate)
    pieces = [Piece(lasts, flat(value), value)]
    if rng.random() < 0.4:
        pieces.insert(0, bouncing(rng, value, float(rng.uniform(0.02, 0.4))))
    if rng.random() < 0.4:
        pieces.append(bouncing(rng, value, float(rng.uniform(0.02, 0.4))))
    return Plan(pieces)


def poor_contact(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """A contact resistance that wanders by more than the tolerance, then perhaps a good contact."""
    seed, size = int(rng.integers(2**31)), _log(rng, 0.02, 1.0)
    memory = _log(rng, 0.03, 0.3)
    tol = max(0.002 * value, m.resolution(value), 2 * m.sd(value), 1e-3)

    def rule(t: Floats) -> Floats:
        r = np.random.default_rng(seed)
        out, last = np.empty(t.shape), abs(r.standard_normal())
        for i in range(t.size):
            gone = np.exp(-(t[i] - t[i - 1]) / memory) if i else 0.0
            last = gone * last + np.sqrt(1 - gone**2) * r.standard_normal()
            out[i] = abs(last)
        return value + 3 * tol + (size * value + 6 * tol) * out

    pieces = [Piece(float(rng.uniform(0.3, 2.5)), rule)]
    if rng.random() < 0.6:
        pieces.append(steady(rng, m, value))
    return Plan(pieces)


def falling_pressure(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """A good contact, perhaps a brief one, that gets worse and worse until the probes come off."""
    lasts, power = float(rng.uniform(0.3, 2.0)), float(rng.uniform(1.0, 3.0))
    tol = max(0.002 * value, m.resolution(value), 2 * m.sd(value), 1e-3)
    size = (value * _log(rng, 0.05, 3.0) + 10 * tol) / lasts**power
    good = steady(rng, m, value)
    if rng.random() < 0.5:
        good = Piece(float(rng.uniform(0.02, 0.2)), flat(value), value)
    return Plan([good, Piece(lasts, lambda t: value + size * t**power, value)])


def rising_pressure(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """Contact resistance that falls as the hand presses, faster at first."""
    size, power, lasts = (
        _log(rng, 0.02, 2.0),
        float(rng.uniform(1.0, 2.5)),
        float(rng.uniform(0.2, 1.5)),
    )

    def rule(t: Floats) -> Floats:
        return value * (1 + size * (1 - t / lasts) ** power)

    return Plan([Piece(lasts, rule, value), steady(rng, m, value)])


def cooling(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    drift = float(rng.uniform(0.0, 7e-4)) * float(rng.choice([-1.0, -1.0, 1.0]))
    lasts = _long(rng, m) + float(rng.uniform(0.0, 6.0))
    return Plan([Piece(lasts, lambda t: value * (1 + drift * t), value, drift)])


def dropout(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    piece = steady(rng, m, value)
    whole = piece.lasts + 1.2
    first = float(rng.uniform(0.0, whole))
    gaps = [(first, float(rng.uniform(0.02, 0.15)))]
    if rng.random() < 0.5:
        apart = max(0.5, 4.0 / m.rate)
        gaps.append((first + apart + float(rng.exponential(0.5)), float(rng.uniform(0.02, 0.15))))
    return Plan([Piece(whole, piece.rule, value)], dropouts=gaps)


def outliers(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    piece = steady(rng, m, value)
    return Plan([Piece(piece.lasts + 2.0, piece.rule, value)], outliers=0.02)


def slide(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    other = value * float(rng.choice([_log(rng, 0.02, 0.8), _log(rng, 1.25, 50.0)]))
    pieces = [steady(rng, m, value)]
    if rng.random() < 0.6:
        pieces.append(bouncing(rng, other, float(rng.uniform(0.02, 0.3))))
    return Plan([*pieces, steady(rng, m, other)])


def body(rng: np.random.Generator, m: Meter, value: float) -> Plan:
    """Two hands across the probes: a wandering value far above any winding."""
    seed, level = int(rng.integers(2**31)), _log(rng, 5e4, 3e6)

    def rule(t: Floats) -> Floats:
        r = np.random.default_rng(seed)
        steps = r.standard_normal(t.shape) * np.sqrt(np.diff(t, prepend=0.0).clip(0.0, 1.0))
        return level * np.exp(0.25 * np.cumsum(steps) + 0.02 * r.standard_normal(t.shape))

    return Plan([Piece(float(rng.uniform(0.5, 4.0)), rule)])


Family = Callable[[np.random.Generator, Meter, float], Plan]

EXPECTED: dict[str, Family] = {
    f.__name__: f
    for f in (
        clean,
        short_bounce,
        long_bounce,
        settling,
        slow_settling,
        inductive,
        autorange,
        ramp,
        ramp_then_steady,
        too_short,
        poor_contact,
        falling_pressure,
        rising_pressure,
        cooling,
        dropout,
        outliers,
        slide,
        body,
    )
}
"""What the policy of the hold speaks of."""

BEYOND: dict[str, Family] = {f.__name__: f for f in (faint_settling, ringing, creeping)}
"""What the detector was not designed for."""

FAMILIES: dict[str, Family] = EXPECTED | BEYOND
