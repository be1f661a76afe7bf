"""A soak against time: resistance in one plot, the winding's temperature in another."""

from typing import Final, Literal

from textual.app import ComposeResult
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static
from textual_hires_canvas import HiResMode

from meterlink.events import SoakPoint
from meterlink.quantities.notation import format_value
from tui.screen.plotting import LookPlot, Values
from tui.screen.scale import AxisScale
from tui.screen.view import View
from tui.screen.watch import time_left

SoakQuantity = Literal["ohm", "celsius"]

_WAITING: Final = "the first point comes one interval after the hold"


class SoakView(Widget):
    """One quantity of the soak's points against the time since the first."""

    def __init__(self, quantity: SoakQuantity) -> None:
        super().__init__(id=f"soak-{quantity}")
        self._quantity: SoakQuantity = quantity
        self._newest: SoakPoint | None = None
        self._count = -1
        self._left = ""

    def compose(self) -> ComposeResult:
        yield Static()
        yield LookPlot("start")

    def show(self, view: View) -> None:
        """Draw the points of ``view``, when there are new ones."""
        newest, left = view.soak[-1] if view.soak else None, time_left(view)
        drawn = newest is self._newest and len(view.soak) == self._count
        if drawn and left == self._left:
            return
        self._newest, self._count, self._left = newest, len(view.soak), left
        headline = self._headline(newest)
        if self._quantity == "ohm" and left:
            headline += f"   {left}"
        self.query_one(Static).update(Content(headline).stylize("bold"), layout=False)
        if not drawn:
            self._draw_points(view)

    def _draw_points(self, view: View) -> None:
        times: list[float] = []
        values: list[float] = []
        for point in view.soak:
            value = point.value if self._quantity == "ohm" else point.temperature
            if value is not None:
                times.append(point.t - view.soak[0].t)
                values.append(value)
        self._draw(times, values)

    def _headline(self, newest: SoakPoint | None) -> str:
        if newest is None:
            return _WAITING
        value = newest.value if self._quantity == "ohm" else newest.temperature
        if value is None:
            return "over range"
        if self._quantity == "ohm":
            over = f", {newest.over_range} over range" if newest.over_range else ""
            return f"{format_value(value)}{over}"
        return f"about {value:.0f} °C in the winding"

    def _draw(self, times: list[float], values: list[float]) -> None:
        plot = self.query_one(LookPlot)
        plot.clear()
        if not values:
            return
        scale = AxisScale.around(min(values), max(values))
        plot.set_xlimits(0.0, max(1.0, times[-1]))
        plot.set_ylimits(scale.low, scale.high)
        plot.set_yticks([min(values), max(values)])
        plot.set_y_formatter(Values(self._quantity))
        if len(values) == 1:
            times, values = times * 2, values * 2
        plot.plot(times, values, plot.colour("primary"), HiResMode.BRAILLE)
