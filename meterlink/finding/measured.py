"""A measured value as evidence: how likely it is where the part is sound, shorted, corroded, open.

What a verdict keeps of a value is which of five boxes it fell into. The value itself tells more: a
little above the window is mostly a sound part or a bad touch, a hundred times above never is. So
each outcome has a density over the values that it gives, convolved with the uncertainty of this
one. The densities overlap, and nothing jumps at a limit.

The spreads are judgements of the authors: a sound part lies within its window like a normal
distribution whose two standard deviations reach the limits; shorted turns take away from 3 % to
three quarters, alike in every decade; a corroded joint adds from 3 % to a thousand times and a
megohm at least, alike in every decade; a short leaves up to a quarter; a break reads over range, or
high through carbon and fingers.
"""

from math import isfinite
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_STEPS: Final = 80
CORRODED_OHM: Final = 1e6
"""The most that a corroded joint or burnt suppressor adds."""
FINGERS_OHM: Final = 1e8
"""The most that reads as a number across a break."""
_FINITE_OPENS: Final = 0.1
"""Share of the breaks that read as a number."""
_STRANGE: Final = 0.01
"""Density per unit of the value's logarithm under which a value is odd."""


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """A value held by the meter, after its corrections, with the window that it should lie in."""

    value: float
    """Ohms, or metres for a gap; infinite for over range."""
    u: float
    """Standard uncertainty, in the same unit."""
    low: float
    high: float


def densities(measured: Measured) -> tuple[dict[str, float], bool]:
    """Return the density of the value under each verdict, and whether it is odd under all.

    The densities have a common factor that does not matter.
    """
    value, u = measured.value, measured.u
    if not isfinite(value):
        return {"short": 0.0, "below": 0.0, "in-window": 0.0, "above": 0.0, "open": 1.0}, False
    high = measured.high if isfinite(measured.high) else max(2 * measured.low, value, 1e-6)
    middle = (measured.low + high) / 2
    spread = float(np.hypot((high - measured.low) / 4, u))
    shares, share_step = _in_decades(0.03, 0.75)
    # What adds itself in ohms, not in shares of the part: beside a small window it goes further.
    adds, add_step = _in_decades(0.03, max(1e3, CORRODED_OHM / middle))
    breaks, break_step = _in_decades(30.0, max(1e7, FINGERS_OHM / middle))
    shorts = np.linspace(0.0, 0.25, _STEPS)
    found = {
        "in-window": _mean(value, np.array([middle]), spread, np.zeros(1)),
        "below": _mean(value, middle * (1 - shares), spread, middle * shares * share_step),
        "above": _mean(value, middle * (1 + adds), spread, middle * adds * add_step),
        "short": _mean(value, middle * shorts, u, np.full(_STEPS, middle * 0.25 / _STEPS)),
        "open": _FINITE_OPENS
        * _mean(value, middle * (1 + breaks), spread, middle * breaks * break_step),
    }
    scale = max(abs(value), spread)
    strange = max(found.values()) * scale < _STRANGE
    # Far from everything all densities vanish; then the value says nothing.
    least = 1e-12 / scale
    return {verdict: density + least for verdict, density in found.items()}, strange


def _in_decades(low: float, high: float) -> tuple[Array, float]:
    """Return values between two, as many in every decade, and by what share each is higher."""
    return np.geomspace(low, high, _STEPS), float(np.log(high / low)) / _STEPS


def _mean(value: float, centres: Array, spread: float, widths: Array) -> float:
    """Return the density of a mixture of normal distributions.

    Each is as wide as ``spread`` and its own of ``widths`` together, so that there are no gaps
    between them.
    """
    sigma = np.hypot(spread, widths)
    each = np.exp(-0.5 * ((value - centres) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    return float(each.mean())
