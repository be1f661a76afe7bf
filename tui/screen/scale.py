"""Where a value lies along a line: linear, or logarithmic where the window asks for it.

The ruler and the trace share one scale, so a place on the one is the same value on the other.
"""

from math import inf, isfinite, log10
from typing import Final, Self

import msgspec

from meterlink.judging.criterion import Criterion

LOG_FROM: Final = 5.0
"""A window whose high end is at least so many times its low end is drawn on a logarithmic line."""
_BESIDE: Final = 0.75
"""A linear line shows so much of the window's width again on either side."""
_DECADES_BESIDE: Final = 1.5
_LEAST: Final = 1e-3
"""Lowest value on a logarithmic line, in the window's unit: below it nothing is told apart."""


class AxisScale(msgspec.Struct, frozen=True):
    """A line from ``low`` to ``high``, in the unit of the values."""

    low: float
    high: float
    logarithmic: bool = False

    @classmethod
    def of(cls, criterion: Criterion) -> Self:
        """Return the line that shows the window of ``criterion`` and what lies beside it."""
        low, high = criterion.window.low, criterion.window.high
        if low is not None and high is not None and (low <= 0 or high < LOG_FROM * low):
            beside = _BESIDE * (high - low) or abs(high) or 1.0
            floor = -inf if low < 0 else 0.0
            return cls(max(floor, low - beside), high + beside)
        ends = [end for end in (low, high) if end]
        if not ends:
            return cls(0.0, 1.0)
        factor = 10.0**_DECADES_BESIDE
        # One end alone: show it about the middle, with the side that matters as long as the other.
        return cls(max(_LEAST, min(ends) / factor), max(ends) * factor, logarithmic=True)

    @classmethod
    def around(cls, lowest: float, highest: float) -> Self:
        """Return a line for values between these, where there is no window."""
        beside = 0.25 * (highest - lowest) or 0.1 * abs(highest) or 1.0
        floor = 0.0 if lowest >= 0 else -inf  # no ohms below none
        return cls(max(floor, lowest - beside), highest + beside)

    def place(self, value: float) -> float:
        """Return where ``value`` lies: 0 at the low end, 1 at the high end, beyond them outside."""
        if not isfinite(value):
            return value
        at, low, high = self.bent(value), self.bent(self.low), self.bent(self.high)
        return (at - low) / (high - low)

    def bent(self, value: float) -> float:
        """Return ``value`` as it is on an even line: itself, or its logarithm."""
        return log10(max(value, _LEAST / 10)) if self.logarithmic else value
