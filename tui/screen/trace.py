"""The last minute as a line, holds marked."""

import time
from asyncio import get_running_loop
from contextlib import suppress
from typing import Final

from textual.app import ComposeResult
from textual.css.query import NoMatches
from textual.widget import Widget
from textual_hires_canvas import HiResMode

from meterlink.judging.criterion import Criterion
from tui.screen.plotting import AxisScale, LookPlot, Values
from tui.screen.view import SPAN_S, View

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
