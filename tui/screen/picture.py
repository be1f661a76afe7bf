"""Where the probes go, as a drawing with its points marked, and hands that a user plays there.

The simulated meter answers played hands through the real driver.
"""

from collections.abc import Mapping, Sequence
from typing import ClassVar, Final, Protocol

from textual import events
from textual.binding import Binding, BindingType
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


RED, BLACK = "R", "B"
_MARGIN: Final = 8
"""Columns of the names on the left."""


class PlayedHands(Protocol):
    """Two hands, and what they can reach."""

    @property
    def places(self) -> Sequence[str]:
        """Every place that a tip can be put on."""
        ...

    @property
    def controls(self) -> Mapping[str, Sequence[str]]:
        """Every switch and fitting with its positions, as they lie first."""
        ...

    def take(self) -> None:
        """Take the hands from the script, which does nothing more."""
        ...

    def closes(self, control: str, position: str) -> bool | None:
        """Return whether a switch in this position is meant to be closed; None: no switch."""
        ...

    def place(self, red: str, black: str) -> None:
        """Put each tip on a place."""
        ...

    def lift(self) -> None:
        """Take both tips off."""
        ...

    def switch(self, control: str, position: str) -> None:
        """Put a switch or fitting into a position."""
        ...


class HandsView(Widget, can_focus=True):
    """A row for each tip and each control: up and down choose the row, left and right change it.

    Enter puts the tips on and takes them off again.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "row(-1)", "row", show=False),
        Binding("down", "row(1)", "row", show=False),
        Binding("left", "turn(-1)", "change", show=False),
        Binding("right", "turn(1)", "change", show=False),
        Binding("enter", "touch", "touch or lift", show=False),
    ]

    def __init__(self, hands: PlayedHands) -> None:
        super().__init__(id="hands")
        self._hands = hands
        self._choices: list[Sequence[str]] = [hands.places, hands.places, *hands.controls.values()]
        self._names = ["red", "black", *hands.controls]
        self._at = [0, min(1, len(hands.places) - 1), *([0] * len(hands.controls))]
        self._row = 0
        self._next_tip = 0
        self.touching = False
        self._taken = False

    @property
    def marks(self) -> dict[str, str]:
        """Which tip is, or is to be, on which place: labels by place."""
        red, black = self._chosen(0), self._chosen(1)
        return {red: RED + BLACK} if red == black else {red: RED, black: BLACK}

    def take(self) -> None:
        """Take the hands from the script, the first time that they are played."""
        if not self._taken:
            self._taken = True
            self._hands.take()

    def lever(self, switch: str) -> bool | None:
        """Return whether the lever of ``switch`` lies closed, as it is meant; None: no switch.

        Without a switch of this name the first one there is stands for it: one lever is drawn.
        """
        levers = {
            name: closed
            for row, name in enumerate(self._names[2:], start=2)
            if (closed := self._hands.closes(name, self._chosen(row))) is not None
        }
        return levers.get(switch, next(iter(levers.values()), None))

    def render(self) -> Content:
        """Return the rows, the chosen one marked, and what Enter will do."""
        lines = []
        for row, name in enumerate(self._names):
            arrow = "▶" if row == self._row else " "
            line = Content(f"{arrow} {plain(name)}: ‹{plain(self._chosen(row))}›")
            line = line.truncate(self.content_size.width or 1000, ellipsis=True)  # a row is a line
            lines.append(line.stylize("bold reverse") if arrow == "▶" and self.has_focus else line)
        does = "lifts the tips" if self.touching else "puts the tips on"
        lines.append(Content(f"Enter {does}").stylize("$quiet"))
        return Content("\n").join(lines)

    class Moved(Message):
        """A hand was moved, or means to."""

    def aim(self, points: Sequence[str]) -> None:
        """Choose the points of a new step beforehand: the user may choose others."""
        for tip, point in enumerate(points):
            if point in self._hands.places:
                self._at[tip] = self._hands.places.index(point)
        self.refresh()

    def point(self, place: str) -> None:
        """Put the tip whose turn it is on ``place``: red and black in turn."""
        if place in self._hands.places:
            self._at[self._next_tip] = self._hands.places.index(place)
            self._row, self._next_tip = self._next_tip, 1 - self._next_tip
            self._moved()

    def action_row(self, by: int) -> None:
        """Go to another row."""
        self._row = (self._row + by) % len(self._names)
        self.refresh()

    def action_turn(self, by: int) -> None:
        """Change what the row stands at."""
        choices = self._choices[self._row]
        self._at[self._row] = (self._at[self._row] + by) % len(choices)
        if self._row > 1:
            self._hands.switch(self._names[self._row], self._chosen(self._row))
            self.post_message(self.Moved())
            self.refresh()
        else:
            self._moved()

    def action_touch(self) -> None:
        """Put the tips on, or take them off."""
        self.touching = not self.touching
        if self.touching:
            self._hands.place(self._chosen(0), self._chosen(1))
        else:
            self._hands.lift()
        self.refresh()

    def on_click(self, event: events.Click) -> None:
        """Go to the row that was clicked; the last line touches and lifts."""
        if event.y < len(self._names):
            self._row = event.y
            self.action_turn(1)
        elif event.y == len(self._names):
            self.action_touch()

    def _moved(self) -> None:
        if self.touching:
            self._hands.place(self._chosen(0), self._chosen(1))
        self.post_message(self.Moved())
        self.refresh()

    def _chosen(self, row: int) -> str:
        return self._choices[row][self._at[row]]
