"""The page between the top line and the keys, in three bands.

What the meter sees and what it means; what to do now; and where the work stands: the card, the
place to touch or the thing to answer, the last minute. Help and budget take the third band's
place when asked for, so nothing ever lies over the reading.
"""

from typing import Final

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import ContentSwitcher, Static

from meterlink.card.card import (
    CautionStep,
    ConfirmationStep,
    EntryStep,
    LeadZeroStep,
    MeterCheckStep,
    SoakStep,
    Step,
    SwitchStep,
    WatchStep,
)
from meterlink.circuit.places import OTHER_TIP
from tui.screen.asked import AskedView, EndedView
from tui.screen.cautions import CautionsView
from tui.screen.entry import EntryView
from tui.screen.hands import HandsView, PlayedHands
from tui.screen.picture import PictureView, points_of
from tui.screen.reading import ReadingView
from tui.screen.ruler import RulerView
from tui.screen.soak import SoakView
from tui.screen.stage import StageView
from tui.screen.steps import StepsView
from tui.screen.trace import TraceView
from tui.screen.view import View
from tui.screen.watch import WatchView

PANELS: Final = {
    "picture": "touch here",
    "entry": "answer here",
    "watch": "while it is moved",
    "soak-ohm": "resistance",
    "trace": "last minute",
    "soak-celsius": "winding temperature",
    "hands": "your hands",
}
"""Headings of what the lower panels can show."""


class BenchBody(Vertical):
    """All the widgets that show the view."""

    def __init__(self, hands: PlayedHands | None = None) -> None:
        """``hands``: those of a simulated bench, for a person to play."""
        super().__init__(id="body")
        self.hands = None if hands is None else HandsView(hands)
        self.playing = False
        """Whether a person plays the hands."""
        self._aimed_at: Step | None = None
        self._typing_at: Step | None = None
        """The step that a value is being typed for though it does not ask for one."""
        self.page = ""
        """Name of the page in place of the lower band; empty where the work is shown."""

    def compose(self) -> ComposeResult:
        yield CautionsView()
        with Horizontal(id="seen"):
            yield ReadingView()
            yield StageView()
        yield RulerView()
        yield AskedView(id="asked", markup=False)
        yield EndedView(id="ended", markup=False)
        with ContentSwitcher(initial="work", id="below"):
            with Horizontal(id="work"):
                yield StepsView(id="steps")
                with ContentSwitcher(initial="picture", id="here"):
                    yield PictureView()
                    yield EntryView()
                    yield WatchView()
                    yield SoakView("ohm")
                with ContentSwitcher(initial="trace", id="beside"):
                    yield TraceView()
                    yield SoakView("celsius")
                    if self.hands is not None:
                        yield self.hands
            with VerticalScroll(id="page"):
                yield Static(id="page-text", markup=False)

    def on_mount(self) -> None:
        """Name the panels."""
        self.query_one("#steps").border_title = "work card"

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        step = view.step
        caution = isinstance(step, CautionStep)
        self.set_class(caution, "-cautions")
        if isinstance(step, CautionStep):
            self.query_one(CautionsView).show(step)
        self.query_one(ReadingView).show(view)
        self.query_one(StageView).show(view)
        self.query_one(RulerView).show(view)
        self.query_one(AskedView).show(view)
        self.query_one(EndedView).show(view)
        self.query_one(StepsView).show(view)
        self._show_panels(view, step)

    def _show_panels(self, view: View, step: Step | None) -> None:
        if step is not self._typing_at:
            self._typing_at = None
        typing = self._typing_at is not None or asks_for_resistor(step, view)
        here, beside = panels_for(step, view)
        if typing:
            here = "entry"
        if self.playing:
            beside = "hands"
            self._hold_keys(step)
        self._switch("here", here)
        self._switch("beside", beside)
        self.query_one(EntryView).show(step, typing=typing)
        self.query_one(PictureView).show(view, self._tips(view, step), self._lever(step))
        self.query_one(WatchView).show(view)
        for soak in self.query(SoakView):
            soak.show(view)
        if beside == "trace":
            self.query_one(TraceView).show(view)

    def _tips(self, view: View, step: Step | None) -> dict[str, str]:
        """Return where played tips are; at a new step they aim at its points by themselves."""
        if self.hands is None or not self.playing:
            return {}
        if step is not None and step is not self._aimed_at and not self.hands.touching:
            self._aimed_at = step
            together = (OTHER_TIP, OTHER_TIP) if isinstance(step, LeadZeroStep) else ()
            self.hands.aim(together or points_of(step, view.profile))
        return self.hands.marks

    def _hold_keys(self, step: Step | None) -> None:
        """Give the played hands their keys again, after they were hidden or an answer was typed."""
        free = self.screen.focused is None and not self.page
        if self.hands is not None and free and not isinstance(step, CautionStep):
            self.hands.focus()

    def _lever(self, step: Step | None) -> bool | None:
        """Return how the switch lies that a person plays; None where none is played."""
        if self.hands is None or not self.playing:
            return None
        return self.hands.lever(step.switch if isinstance(step, SwitchStep) else "")

    def type_at(self, step: Step | None) -> None:
        """Let a value be typed for ``step``; None ends it."""
        self._typing_at = step

    def play(self) -> bool:
        """Give the hands to the user, or the keys back; return whether the user has them."""
        if self.hands is not None:
            self.playing = not self.playing
            if self.playing:
                self.hands.take()
                self.hands.focus()
        return self.playing

    @on(PictureView.Pointed)
    def _pointed(self, message: PictureView.Pointed) -> None:
        message.stop()
        if self.hands is not None and self.playing:
            self.hands.point(message.place)

    def _switch(self, panel: str, shown: str) -> None:
        switcher = self.query_one(f"#{panel}", ContentSwitcher)
        if switcher.current != shown or not switcher.border_title:
            switcher.current = shown
            switcher.border_title = PANELS[shown]

    # --- pages in place of the lower band -----------------------------------------------------

    def turn_to(self, name: str, text: Content) -> None:
        """Show the page ``name``; once more the same name turns back to the work."""
        self.page = "" if self.page == name else name
        if self.page:
            self.query_one("#page-text", Static).update(text)
            self.query_one("#page", VerticalScroll).scroll_home(animate=False)
        self.set_class(bool(self.page), "-page")
        if self.page:
            self.query_one("#page", VerticalScroll).focus()  # arrows and page keys move it
        self.query_one("#below", ContentSwitcher).current = "page" if self.page else "work"


def asks_for_resistor(step: Step | None, view: View) -> bool:
    """Return whether a meter check still has to be told which resistor it is done with."""
    if not isinstance(step, MeterCheckStep) or step.resistor:
        return False
    return view.progress.results[step.id].entered is None


def panels_for(step: Step | None, view: View) -> tuple[str, str]:
    """Return what the panel for hands and the panel beside it show during ``step``."""
    match step:
        case EntryStep() | ConfirmationStep():
            return "entry", "trace"
        case WatchStep() if view.remaining_s is not None or view.dropouts:
            return "watch", "trace"
        case SoakStep() if view.soak:
            return "soak-ohm", "soak-celsius"
        case _:
            return "picture", "trace"
