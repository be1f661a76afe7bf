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

from meterlink.card import Step
from meterlink.circuit.wiring import OTHER_TIP
from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING, CautionStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.switch import SwitchStep
from tui.screen.entry import EntryView, Question, question_of
from tui.screen.figures import Sentences
from tui.screen.own_views import own_views, panels_for
from tui.screen.pages import SummaryView
from tui.screen.picture import HandsView, PictureView, PlayedHands
from tui.screen.plotting import TraceView
from tui.screen.reading import ReadingView, RulerView, StageView
from tui.screen.steps import AskedView, EndedView, StepsView
from tui.screen.view import View

_ROWS_EACH: Final = 3
"""With so many rows for each, a blank one lies between them."""
_AROUND: Final = 9
"""Rows of the screen that are not theirs. Their own height is known only after the first layout,
and a text that changes between two layouts may be cut by the height of the first."""


class CautionsView(VerticalScroll):
    """Every caution as a point of its own."""

    def __init__(self) -> None:
        super().__init__(id="cautions")
        self._lines: tuple[str, ...] = ()
        self._left_out = ""
        self._points = Static(id="caution-lines")

    def compose(self) -> ComposeResult:
        yield self._points

    def show(self, step: CautionStep, left_out: str = "") -> None:
        """Show the standing cautions and those of ``step``, and what is ``left_out``."""
        self._left_out = left_out
        lines = (*STANDING, *(plain(line, 600) for line in step.lines))
        if lines != self._lines:
            self._lines = lines
            self._lay_out()
        if self.screen.focused is None:
            self.screen.set_focus(self)  # a small terminal needs the arrows to show them all

    def on_resize(self) -> None:
        """Space them for the room that there is."""
        self._lay_out()

    def _lay_out(self) -> None:
        points = [Content.assemble(("▲ ", "bold $unsure"), line) for line in self._lines]
        if self._left_out and points:
            points.append(Content(f"- {self._left_out}").stylize("$quiet"))
        room = self.app.size.height - _AROUND
        gap = "\n\n" if room >= _ROWS_EACH * len(points) else "\n"
        self._points.update(Content(gap).join(points))


PANELS: Final = {
    "picture": "touch here",
    "entry": "answer here",
    "trace": "last minute",
    "hands": "your hands",
}
"""Headings of what the lower panels can show, besides those of a kind of step."""


class BenchBody(Vertical):
    """All the widgets that show the view."""

    def __init__(self, hands: PlayedHands | None = None, where: str = "") -> None:
        """``hands``: those of a simulated bench, for a person to play; ``where`` all is kept."""
        super().__init__(id="body")
        self._cautions, self._reading, self._stage = CautionsView(), ReadingView(), StageView()
        self._ruler, self._asked, self._ended = RulerView(), AskedView(), EndedView()
        self._steps, self._picture, self._trace = StepsView(), PictureView(), TraceView()
        self._entry, self._end = EntryView(), SummaryView(where)
        self._text, self._over = Sentences("page-text"), VerticalScroll(id="page")
        # Held, not looked for: pictures come in while the page is made and taken down.
        self._below = ContentSwitcher(initial="work", id="below")
        self._here = ContentSwitcher(initial="picture", id="here")
        self._beside = ContentSwitcher(initial="trace", id="beside")
        self._own_here, self._own_beside = own_views()
        self.hands = None if hands is None else HandsView(hands)
        self.playing = False
        """Whether a person plays the hands."""
        own = {str(w.id): name for name, w in (self._own_here | self._own_beside).items()}
        self._headings = PANELS | own
        self._aimed_at: Step | None = None
        self._typing_at: Step | None = None
        """The step that a value is being typed for though it does not ask for one."""
        self.page = ""
        """Name of the page in place of the lower band; empty where the work is shown."""

    def compose(self) -> ComposeResult:
        yield self._cautions
        with Horizontal(id="seen"):
            yield self._reading
            yield self._stage
        yield self._ruler
        yield self._asked
        yield self._ended
        with self._below:
            with Horizontal(id="work"):
                yield self._steps
                with self._here:
                    yield self._picture
                    yield self._entry
                    yield from self._own_here.values()
                with self._beside:
                    yield self._trace
                    yield from self._own_beside.values()
                    if self.hands is not None:
                        yield self.hands
            yield self._end
            with self._over:
                yield self._text

    def on_mount(self) -> None:
        """Name the panels."""
        self._steps.border_title = "work card"

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        step = view.step
        caution = isinstance(step, CautionStep)
        self.set_class(caution, "-cautions")
        if isinstance(step, CautionStep):
            self._cautions.show(step, view.left_out)
        for seen in (self._reading, self._stage, self._ruler, self._asked, self._steps):
            seen.show(view)
        self._show_panels(view, step)
        self._ended.show(view, "ctrl+b" if self.asking else "b")
        self._show_end(view)

    @property
    def question(self) -> Question | None:
        """What a person is to answer now."""
        return self._entry.question

    @property
    def takes_space(self) -> bool:
        """Whether the space bar confirms while a question stands."""
        return self._entry.takes_space

    def take_keys(self) -> None:
        """Give the keys to the question, where one stands."""
        self._entry.take_keys()

    @property
    def asking(self) -> bool:
        """Whether what is typed goes to a question."""
        return self._entry.asking

    def _show_end(self, view: View) -> None:
        """Show what the card came to in place of the work, once it is done."""
        done = view.progress.ended and view.back
        if done:
            self._end.show(view)
        if done is not self.has_class("-done"):
            self.set_class(done, "-done")
            if not done:
                self._end.forget()
            self._turn()

    def _show_panels(self, view: View, step: Step | None) -> None:
        if step is not self._typing_at:
            self._typing_at = None
        typing = self._typing_at is not None or asks_for_resistor(step, view)
        asked = "" if view.asked is None else view.asked.say
        question = question_of(step, view.answers, typing=typing, asked=asked)
        here, beside = panels_for(step, view)
        if question is not None:
            here = "entry"
        if self.playing:
            beside = "hands"
            self._hold_keys(step)
        self._switch(self._here, here)
        self._switch(self._beside, beside)
        if self._entry.show(question) and self.page:
            self.turn_to(self.page, Content(""))  # a question is not put behind a page
        self._picture.show(view, self._tips(view, step), self._lever(step))
        for own in (*self._own_here.values(), *self._own_beside.values()):
            own.show(view)
        if beside == "trace":
            self._trace.show(view)

    def _tips(self, view: View, step: Step | None) -> dict[str, str]:
        """Return where played tips are; at a new step they aim at its points by themselves."""
        if self.hands is None or not self.playing:
            return {}
        if step is not None and step is not self._aimed_at and not self.hands.touching:
            self._aimed_at = step
            together = (OTHER_TIP, OTHER_TIP) if isinstance(step, LeadZeroStep) else ()
            self.hands.aim(together or step.points(view.profile))
        return self.hands.marks

    def _hold_keys(self, step: Step | None) -> None:
        """Give the played hands their keys again, after they were hidden or an answer was typed."""
        free = self.screen.focused is None and not self.page
        if self.hands is not None and free and not isinstance(step, CautionStep):
            self.screen.set_focus(self.hands)

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
                self.screen.set_focus(self.hands)
        return self.playing

    @on(PictureView.Pointed)
    def _pointed(self, message: PictureView.Pointed) -> None:
        message.stop()
        if self.hands is not None and self.playing:
            self.hands.point(message.place)

    def _switch(self, switcher: ContentSwitcher, shown: str) -> None:
        if switcher.current != shown or not switcher.border_title:
            switcher.current = shown
            switcher.border_title = self._headings[shown]

    # --- pages in place of the lower band -----------------------------------------------------

    def turn_to(self, name: str, text: Content) -> None:
        """Show the page ``name``; once more the same name turns back to the work."""
        self.page = "" if self.page == name else name
        if self.page:
            self._text.say(text.split("\n", allow_blank=True))
            self._over.scroll_home(animate=False)
        self.set_class(bool(self.page), "-page")
        self._turn()

    def _turn(self) -> None:
        """Show the page that is asked for, else the summary or the work; the arrows move it."""
        done = self.has_class("-done")
        shown = "page" if self.page else "summary" if done else "work"
        self._below.current = shown
        if shown != "work":
            self.screen.set_focus(self._over if self.page else self._end)
        else:
            self._entry.take_keys()


def asks_for_resistor(step: Step | None, view: View) -> bool:
    """Return whether a meter check still has to be told which resistor it is done with."""
    if not isinstance(step, MeterCheckStep) or step.resistor:
        return False
    return view.progress.results[step.id].entered is None
