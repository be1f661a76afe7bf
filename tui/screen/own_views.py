"""What the kinds of step show that have something of their own to show, in place of the picture.

A kind with such a view adds its widget here, to ``OWN_VIEWS``, and says in ``panels_for`` when it
is shown. The type checker complains in ``panels_for`` of a kind that is forgotten.
"""

from math import ceil
from typing import Final, Literal, assert_never

from textual.app import ComposeResult
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static
from textual_hires_canvas import HiResMode

from meterlink.card import Step
from meterlink.quantities.notation import format_value
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.repair import RepairStep
from meterlink.steps.repeat import Repeated, RepeatState, RepeatStep
from meterlink.steps.soak import SoakPoint, SoakStep
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import Dropout, WatchState, WatchStep
from tui.screen import figures
from tui.screen.plotting import AxisScale, LookPlot, Values
from tui.screen.view import View

PICTURE, TRACE = "picture", "trace"
"""The panels that most steps show: where the probes go, and the last minute."""

SoakQuantity = Literal["ohm", "celsius"]

_MOST_LINES: Final = 40
_WAITING: Final = "the first point comes one interval after the hold"


class OwnView(Widget):
    """A panel of one kind of step."""

    def show(self, view: View) -> None:
        """Show where ``view`` stands; it is called at other steps too."""
        raise NotImplementedError


class WatchView(OwnView):
    """The count in tall figures, the time left, the dropouts beneath, newest first."""

    def __init__(self) -> None:
        super().__init__(id="watch")
        self.count = 0
        self.left = ""
        """The time left, in words; empty before and after."""
        self._words = ("", "")
        self._dropouts: list[Dropout] = []

    def show(self, view: View) -> None:
        """Show the dropouts of ``view``."""
        if not isinstance(view.step, WatchStep):
            return
        left, words = time_left(view), _words_of(view.step)
        count = view.progress.results[view.step.id].own.of(WatchState).dropouts
        if (count, left, words) != (self.count, self.left, self._words):
            self.count, self.left, self._words = count, left, words
            dropouts = [event for event in view.own if isinstance(event, Dropout)]
            self._dropouts = dropouts[: -_MOST_LINES - 1 : -1]
            self.refresh()

    def render(self) -> Content:
        """Return the count beside its word, then a line for each dropout that has room."""
        tall = figures.draw(str(self.count), 1)
        one, many = self._words
        word = one if self.count == 1 else many
        beside = [""] * (len(tall) - 2) + [self.left, word]
        lines = [
            Content.assemble(f"{row}  ", (words, "bold"))
            for row, words in zip(tall, beside, strict=True)
        ]
        lines.append(Content("       at     for to").stylize("$quiet"))
        room = self.content_size.height - len(lines)
        lines += [Content(dropout_line(dropout)) for dropout in self._dropouts[: max(0, room)]]
        return Content("\n").join(lines)


def time_left(view: View) -> str:
    """Return what a step's own clock still has to run, in whole seconds; empty where none runs."""
    return "" if view.remaining_s is None else f"{ceil(view.remaining_s)} s left"


def dropout_line(dropout: Dropout) -> str:
    """Return when a dropout was, how long it lasted and how far it went."""
    return f"{dropout.t:7.1f} s {dropout.lasted_s:5.2f} s {dropout.depth_words()}"


def _words_of(step: WatchStep) -> tuple[str, str]:
    """Return what is counted, once and often: a wire that must stay open has no dropouts."""
    if step.expect == "open":
        return "time closed", "times closed"
    return "dropout", "dropouts"


class SoakView(OwnView):
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
        points = [event for event in view.own if isinstance(event, SoakPoint)]
        newest, left = points[-1] if points else None, time_left(view)
        drawn = newest is self._newest and len(points) == self._count
        if drawn and left == self._left:
            return
        self._newest, self._count, self._left = newest, len(points), left
        headline = self._headline(newest)
        if self._quantity == "ohm" and left:
            headline += f"   {left}"
        self.query_one(Static).update(Content(headline).stylize("bold"), layout=False)
        if not drawn:
            self._draw_points(points)

    def _draw_points(self, points: list[SoakPoint]) -> None:
        times: list[float] = []
        values: list[float] = []
        for point in points:
            value = point.value if self._quantity == "ohm" else point.temperature
            if value is not None:
                times.append(point.t - points[0].t)
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


class RepeatView(OwnView):
    """The two values of a repeat touch under each other, with their difference and mean."""

    def __init__(self) -> None:
        super().__init__(id="repeat")
        self._repeated: Repeated | None = None

    def show(self, view: View) -> None:
        """Show the newest pair of ``view``."""
        if not isinstance(view.step, RepeatStep):
            return
        repeated = view.progress.results[view.step.id].own.of(RepeatState).repeated
        if repeated is not self._repeated:
            self._repeated = repeated
            self.refresh()

    def render(self) -> Content:
        """Return one value a line, the outcome beneath."""
        if self._repeated is None:
            return Content("")
        repeated, digit = self._repeated, self._repeated.u / 2 or None
        lines = [
            Content(f"first       {format_value(repeated.first, 'ohm', digit)}"),
            Content(f"swapped     {format_value(repeated.second, 'ohm', digit)}"),
            Content(f"difference  {repeated.difference_words()}"),
            Content(f"mean        {format_value(repeated.mean, 'ohm', digit)}").stylize("bold"),
            Content(""),
            Content(repeated.spoken).stylize("bold"),
        ]
        return Content("\n").join(lines)


def own_views() -> tuple[dict[str, OwnView], dict[str, OwnView]]:
    """Return a widget for each panel in place of the picture, and of the trace, by its heading."""
    here: dict[str, OwnView] = {
        "while it is moved": WatchView(),
        "resistance": SoakView("ohm"),
        "leads swapped": RepeatView(),
    }
    beside: dict[str, OwnView] = {"winding temperature": SoakView("celsius")}
    return here, beside


def panels_for(step: Step | None, view: View) -> tuple[str, str]:
    """Return what the panel for hands and the panel beside it show during ``step``, by id."""
    match step:
        case WatchStep():
            if view.remaining_s is not None or view.own:
                return "watch", TRACE
        case RepeatStep():
            if view.progress.results[step.id].own.of(RepeatState).repeated is not None:
                return "repeat", TRACE
        case SoakStep():
            if view.own:
                return "soak-ohm", "soak-celsius"
        case CautionStep() | EntryStep() | ConfirmationStep() | RepairStep() | None:
            pass
        case LeadZeroStep() | MeterCheckStep() | MeasurementStep() | SwitchStep():
            pass
        case _ as never:
            assert_never(never)
    return PICTURE, TRACE
