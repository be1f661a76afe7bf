"""Where the probes go, as a drawing with the two points of this step marked."""

from collections.abc import Mapping

from textual import events
from textual.content import Content
from textual.message import Message
from textual.widget import Widget

from meterlink.quantities.text import plain
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.switch import SwitchStep
from tui.drawings import Drawing, draw_engine, draw_tips, size_of
from tui.screen.view import View

_SIZES = ("engine-large", "engine-small")


class PictureView(Widget):
    """The engine with the probes' points, or two tips together for the lead zero."""

    class Pointed(Message):
        """A place on the drawing was clicked."""

        def __init__(self, place: str) -> None:
            super().__init__()
            self.place = place

    def __init__(self) -> None:
        super().__init__(id="picture")
        self.marks: dict[str, str] = {}
        """Labels by place: 1 and 2 for the points of the step, R and B for played tips."""
        self._tips_together = False
        self._lever_closed: bool | None = None
        self.drawing: Drawing | None = None
        """What is drawn; None where there was no room."""

    def show(self, view: View, tips: Mapping[str, str], lever: bool | None = None) -> None:
        """Show where ``view`` stands, and ``tips``, labels by place, where a person plays them.

        ``lever``: whether the switch of the played hands is closed; None: as the step asks for it.
        """
        step = view.step
        points = () if step is None else step.points(view.profile)
        marks = {place: str(number) for number, place in enumerate(points, start=1)}
        for place, tip in tips.items():
            marks[place] = marks.get(place, "") + tip
        together = isinstance(step, LeadZeroStep) and not tips
        self.mark(marks, together=together, closed=_asked_closed(view) if lever is None else lever)

    def mark(
        self, marks: dict[str, str], *, together: bool = False, closed: bool | None = None
    ) -> None:
        """Mark places with labels; or show the tips together; ``closed``: the switch's lever."""
        shown = (marks, together, closed)
        if shown != (self.marks, self._tips_together, self._lever_closed):
            self.marks, self._tips_together, self._lever_closed = shown
            self.refresh()

    def render(self) -> Content:
        """Return the largest drawing that there is room for, and the points in words."""
        columns, rows = self.content_size
        if self._tips_together:
            return _marked(draw_tips())
        self.drawing = drawing = _fitting(self.marks, self._lever_closed, columns, rows)
        words = [f"{label} on the {plain(place)}" for place, label in self.marks.items()]
        if drawing is None:
            return Content("\n".join(words))
        spare = rows - len(drawing.lines)
        if spare < len(words):
            unplaced = [f"{label} on the {plain(place)}" for label, place in drawing.unplaced]
            words = [word for word in words if word in unplaced]
        lines = [_marked(drawing)]
        if words and spare > len(words):
            lines.append(Content(""))
        lines += [Content(word).stylize("bold") for word in words]
        return Content("\n").join(lines)

    def on_click(self, event: events.Click) -> None:
        """Say which place was clicked, or nearly clicked."""
        spots = () if self.drawing is None else self.drawing.spots
        for spot in spots:
            if spot.row == event.y and abs(spot.column - event.x) <= 1:
                self.post_message(self.Pointed(spot.place))
                return


def _asked_closed(view: View) -> bool | None:
    """Return how the switch will be once it is where the step asks for; None: nothing asked."""
    step = view.step
    if not isinstance(step, SwitchStep) or view.asked is None:
        return None
    state = step.part(view.profile).positions.get(view.asked.position)
    return None if state is None else state == "closed"


def _fitting(
    marks: Mapping[str, str], closed: bool | None, columns: int, rows: int
) -> Drawing | None:
    for name in _SIZES:
        wide, high = size_of(name)
        if wide <= columns and high <= rows:
            return draw_engine(name, marks, closed=closed)
    return None


def _marked(drawing: Drawing) -> Content:
    """Return the drawing with its marks standing out."""
    lines = [Content(line) for line in drawing.lines]
    for spot in drawing.spots:
        if spot.label:
            begin = spot.column - 1
            end = begin + len(spot.label) + 2
            lines[spot.row] = lines[spot.row].stylize("bold reverse", begin, end)
    return Content("\n").join(lines)
