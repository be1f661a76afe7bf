"""Plots that are only looked at, their scales, and the trace of the last minute.

They have no zoom and no focus, so they never take a key from the bench.
"""

import time
from asyncio import get_running_loop
from collections.abc import Sequence
from contextlib import suppress
from math import inf, isfinite, log10
from typing import Final, Self

import msgspec
from textual.app import ComposeResult
from textual.css.query import NoMatches
from textual.widget import Widget
from textual_hires_canvas import HiResMode
from textual_plot import AxisFormatter, PlotWidget

from meterlink.judging.criterion import Criterion
from meterlink.quantities.notation import format_value
from tui.screen.view import SPAN_S, View

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


class SecondsAxis(AxisFormatter):
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
        self.set_x_formatter(SecondsAxis(self._origin))

    def colour(self, name: str) -> str:
        """Return the theme's colour of this name, as a style of the plot."""
        colour = self.app.theme_variables.get(name, "")
        return colour if colour.startswith("#") else "default"


_EVERY_S: Final = 0.25
"""A minute on a few dozen columns does not look different sooner."""


class TraceView(Widget):
    """Values of the last minute on the ruler's own scale, with the window's ends and the holds."""

    def __init__(self) -> None:
        super().__init__(id="trace")
        self._drawn = 0.0
        self._owed: View | None = None
        """What came too soon after the last drawing, and is drawn when its time has come."""
        self.points = 0
        """How many points the last drawing had."""

    def compose(self) -> ComposeResult:
        yield LookPlot("now")

    def on_mount(self) -> None:
        """Show one minute, always."""
        self.query_one(LookPlot).set_xlimits(-SPAN_S, 0.0)

    def show(self, view: View, *, at_once: bool = False) -> None:
        """Draw the history of ``view``, not oftener than the eye can use."""
        wait = 0.0 if at_once else self._drawn + _EVERY_S - time.monotonic()
        if wait <= 0:
            self._draw(view)
            return
        if self._owed is None:
            # As in ``BenchApp``, not the screen library's timer, which may never fire.
            get_running_loop().call_later(wait, self.call_later, self._draw_owed)
        self._owed = view

    def _draw_owed(self) -> None:
        """Draw what was left out: where a record is paused, nothing comes that would."""
        if self._owed is not None:
            with suppress(NoMatches):  # the page may be on its way down
                self._draw(self._owed)

    def _draw(self, view: View) -> None:
        self._owed = None
        self._drawn = time.monotonic()
        criterion = view.criterion
        runs = list(view.history.runs())
        scale = _scale(criterion, [value for _, values in runs for value in values])
        plot = self.query_one(LookPlot)
        plot.clear()
        self._draw_window(plot, criterion, scale)
        self.points = sum(len(values) for _, values in runs)
        for ages, values in runs:
            line = [_inside(scale, value) for value in values]
            if len(line) == 1:  # a line needs two points
                ages, line = ages * 2, line * 2
            plot.plot(ages, line, plot.colour("primary"), HiResMode.BRAILLE)
        # A hold of a step on another scale has no place here.
        marks = [mark for mark in view.history.marks() if 0 <= scale.place(mark.value) <= 1]
        if marks:
            plot.scatter(
                [mark.t for mark in marks],
                [scale.bent(mark.value) for mark in marks],
                marker="◆",
                marker_style=f"bold {plot.colour('foreground')}",
            )

    def _draw_window(self, plot: LookPlot, criterion: Criterion | None, scale: AxisScale) -> None:
        low, high = scale.bent(scale.low), scale.bent(scale.high)
        plot.set_ylimits(low, high)
        unit = "ohm" if criterion is None else criterion.window.unit
        window = () if criterion is None else (criterion.window.low, criterion.window.high)
        ends = [scale.bent(end) for end in window if end is not None]
        plot.set_y_formatter(Values(unit, logarithmic=scale.logarithmic))
        plot.set_yticks(ends or [low, high])
        for end in ends:
            plot.plot([-SPAN_S, 0.0], [end, end], plot.colour("quiet"), HiResMode.BRAILLE)


def _inside(scale: AxisScale, value: float) -> float:
    """Return ``value`` on the plot's even line, held at the edge where it lies beyond."""
    return scale.bent(min(scale.high, max(scale.low, value)))


def _scale(criterion: Criterion | None, values: list[float]) -> AxisScale:
    if criterion is not None:
        return AxisScale.of(criterion)
    return AxisScale.around(min(values, default=0.0), max(values, default=1.0))
