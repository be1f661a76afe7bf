"""A plot that is only looked at: no zoom, no focus, so it never takes a key from the bench."""

from collections.abc import Sequence
from math import inf, isfinite, log10
from typing import Final, Self

import msgspec
from textual_plot import AxisFormatter, PlotWidget

from meterlink.judging.criterion import Criterion
from meterlink.quantities.notation import format_value

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


class Values(AxisFormatter):
    """Values as the trade writes them, on a line that may be logarithmic."""

    def __init__(self, unit: str, *, logarithmic: bool = False) -> None:
        self._unit = unit
        self._logarithmic = logarithmic

    def get_ticks(self, min_: float, max_: float, max_ticks: int = 8) -> list[float]:
        """Return the two ends: between them the eye does well enough."""
        return [min_, max_]

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """Return the ticks with their unit."""
        values = [10.0**tick if self._logarithmic else tick for tick in ticks]
        return [format_value(value, self._unit) for value in values]


class Seconds(AxisFormatter):
    """Whole seconds; zero is ``origin``."""

    def __init__(self, origin: str) -> None:
        self._origin = origin

    def get_ticks(self, min_: float, max_: float, max_ticks: int = 8) -> list[float]:
        """Return both ends: a narrow plot has no room for more."""
        return [min_, max_]

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """Return the ticks in seconds."""
        return [f"{tick:.0f} s" if round(tick) else self._origin for tick in ticks]


class LookPlot(PlotWidget, can_focus=False, inherit_bindings=False):
    """Values on the left, seconds beneath, nothing wasted."""

    def __init__(self, origin: str) -> None:
        super().__init__(allow_pan_and_zoom=False)
        self._origin = origin

    def on_mount(self) -> None:
        """Leave room for labels of the trade's length and for nothing else."""
        self.margin_top = 0
        self.margin_bottom = 1
        self.margin_left = 9
        self.set_x_formatter(Seconds(self._origin))

    def colour(self, name: str) -> str:
        """Return the theme's colour of this name, as a style of the plot."""
        colour = self.app.theme_variables.get(name, "")
        return colour if colour.startswith("#") else "default"
