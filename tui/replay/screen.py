"""The bench screen over a record: the same page, with keys that pause, step and jump instead."""

import copy
import queue
from collections.abc import Callable
from contextlib import suppress
from math import inf
from typing import ClassVar, Final

from msgspec.structs import replace
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from meterlink.bench.progress import Progress
from meterlink.card import BenchEvent, Step
from meterlink.commands import Enter
from meterlink.events import Asked, Note, Verdict
from meterlink.quantities.text import plain
from meterlink.steps.entry import ConfirmationStep, EntryStep
from meterlink.wording import window_words
from tui.replay.player import ReplayPlayer, VerdictQuestion, comment_on
from tui.screen.app import BenchApp
from tui.screen.entry import EntryView
from tui.screen.sitting import Happened
from tui.screen.view import View

_QUESTION: Final = EntryStep(
    id="your-verdict",
    title="Your verdict",
    takes="choice",
    choices=tuple(verdict.value for verdict in Verdict),
)
_KEYS: Final = (
    Binding("space", "pause_or_go", "pause"),
    Binding("full_stop", "step", "step"),
    Binding("n,right", "next_touch", "next touch"),
    Binding("b,left", "previous_touch", "touch before"),
    Binding("plus,f", "faster", "faster"),
    Binding("minus,s", "slower", "slower"),
)
_KEPT: Final = (
    Binding("u", "budget", "sure?"),
    Binding("question_mark", "help", "help", show=False),
    Binding("f7", "sound", "tones", show=False),
    Binding("f8", "speech", "voice", show=False),
    Binding("f9", "theme", "light", show=False),
    Binding("q", "leave", "quit"),
)
_ASKED: Final = (
    Binding("ctrl+n", "asked('next_touch')", "next touch"),
    Binding("ctrl+b", "asked('previous_touch')", "touch before"),
    Binding("ctrl+q", "asked('leave')", "quit"),
)
"""While a question stands, what is typed goes to it."""

_HELP: Final = (
    "This is a record: nothing is measured, and nothing can be told to the bench.",
    "space  pause, or go on",
    ".      on to the next thing that happens, and wait there",
    "n  b   on to the next touch, or back to the one before",
    "f  s   faster, slower",
    "u      how sure the value is, and why",
    "f7 f8  tones, voice",
    "f9     dark, light, plain",
    "While your verdict is asked for, Escape gives the keys back, and Enter goes back to it.",
    "q      leave",
)
_TICK_S: Final = 0.1


class ReplayView(View):
    """The bench as the screen knows it; what was entered in the record asks nobody now."""

    back: ClassVar[bool] = False
    question: VerdictQuestion | None = None
    """The verdict that the trainee is to say."""
    comment = ""
    """What there is to say of the trainee's last verdict."""
    note = ""
    """The instructor's newest note."""

    @property
    def step(self) -> Step | None:
        """The current step; none where it waits for an answer, as the record has it already."""
        if self.question is not None:
            # Each has a name of its own: what was typed for one is not left for the next.
            return replace(_QUESTION, id=f"your-verdict-{self.question.judged.t:.3f}")
        step = super().step
        return None if isinstance(step, EntryStep | ConfirmationStep) else step

    def take(self, event: BenchEvent) -> None:
        """Take an event, oldest first."""
        if isinstance(event, Note):
            self.note = f"{event.who}: {event.text}" if event.who else event.text
        super().take(event)

    def answer(self, comment: str) -> None:
        """Take the question back, as it was answered."""
        self.question = self.asked = None
        self.comment = comment

    def put(self, question: VerdictQuestion) -> None:
        """Ask for a verdict."""
        self.question, self.comment = question, ""
        judged, criterion = question.judged, question.criterion
        at = f" in “{judged.position}”" if judged.position else ""
        window = "" if criterion is None else f" Limits: {window_words(criterion, ohm_sign=True)}."
        say = f"Say your verdict on “{self.progress.card.find(judged.step).title}”{at}.{window}"
        self.asked = Asked(t=judged.t, step=judged.step, say=say)


class ReplayBar(Static):
    """How the record is played, and the instructor's newest note."""

    def __init__(self) -> None:
        super().__init__(id="replay", markup=False)
        self.said = ""

    def show(self, said: str) -> None:
        """Show ``said``."""
        if said != self.said:
            self.said = said
            self.update(Content(said))


class ReplayApp(BenchApp, inherit_bindings=False):
    """The whole screen over one record."""

    CSS = """
    #ended { display: none; } /* nothing can be taken back, and the drawing needs the row */
    #replay { height: auto; max-height: 5; padding: 0 1; background: $panel; text-style: bold; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        *_KEYS,
        *_KEPT,
        *_ASKED,
        Binding("escape", "to_keys", "keys"),
        Binding("enter", "answer", "answer"),
    ]

    class Restarted(Message):
        """The record begins again."""

        def __init__(self, progress: Progress) -> None:
            super().__init__()
            self.progress = progress

    class Wanted(Message):
        """A verdict is to be said before it is shown."""

        def __init__(self, question: VerdictQuestion) -> None:
            super().__init__()
            self.question = question

    def __init__(self, player: ReplayPlayer, *, title: str, hide: bool = False) -> None:
        super().__init__(player, title=title)
        self.player = player
        self._bar = ReplayBar()
        self.view: ReplayView = self._fresh_view(copy.deepcopy(player.bench.progress))
        self._answers: queue.SimpleQueue[str] = queue.SimpleQueue()
        player.on_restart = self._restarted
        if hide:
            player.ask = self._ask

    def compose(self) -> ComposeResult:
        yield self._bar
        yield from super().compose()

    def on_mount(self) -> None:
        """Keep the bar up to date."""
        self.set_interval(_TICK_S, self._show_bar)

    # --- the thread that plays ----------------------------------------------------------------

    def _restarted(self) -> None:
        self.post_message(self.Restarted(copy.deepcopy(self.player.bench.progress)))

    def _ask(self, question: VerdictQuestion, gone: Callable[[], bool]) -> str:
        """Have the question shown, and wait for its answer."""
        while not self._answers.empty():
            self._answers.get()
        self.post_message(self.Wanted(question))
        while not gone():
            with suppress(queue.Empty):
                return self._answers.get(timeout=0.2)
        return ""

    # --- the screen's own thread --------------------------------------------------------------

    def _fresh_view(self, progress: Progress) -> ReplayView:
        bench = self.player.bench
        return ReplayView(progress, bench.profile, bench.accuracy)

    @on(Restarted)
    def _begin_again(self, message: Restarted) -> None:
        self.view = self._fresh_view(message.progress)
        self._paint_soon()

    @on(Wanted)
    def _put_question(self, message: Wanted) -> None:
        self.view.put(message.question)
        self._paint_soon()

    @on(Happened)
    def _note_taken(self) -> None:
        self._show_bar()

    @on(EntryView.Answered)
    def _take_answer(self, message: EntryView.Answered) -> None:
        """Take what was answered to the thread that waits for it."""
        message.prevent_default()
        if isinstance(message.command, Enter):
            self._answer(message.command.text)

    def _answer(self, said: str) -> None:
        """Answer the question that is put; nothing where none is."""
        question = self.view.question
        if question is None:
            return
        self.view.answer(comment_on(said, question.judged))
        self.set_focus(None)
        self._answers.put(said)
        self._show_bar()
        self._paint_soon()

    def _show_bar(self) -> None:
        self._bar.show(self._said())

    def _said(self) -> str:
        player = self.player
        replay = player.played.replay
        if player.finished:
            how = "■ the record ends here"
        elif self.view.question is not None:
            how = "‖ waits for your verdict"
        else:
            how = "‖ paused" if player.paused else "▶ playing"
        pace = "as fast as can be" if player.speed == inf else f"{player.speed:g}×"
        line = f"replay: {how}, {pace}, {replay.t:.1f} s, touch {replay.touches}"
        note = plain(self.view.note, 600)
        return "\n".join(filter(None, (line, self.view.comment, f"✎ {note}" if note else "")))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer what works now: all keys but one are typed into the question while it stands."""
        if action in ("to_keys", "answer"):
            return super().check_action(action, parameters)
        asking = self._body is not None and self._body.asking
        return asking if action == "asked" else not asking

    # --- keys ---------------------------------------------------------------------------------

    def action_pause_or_go(self) -> None:
        """Pause, or go on."""
        self.player.pause_or_go()

    def action_step(self) -> None:
        """Go on to the next thing that happens, and wait there."""
        self.player.step()

    def action_next_touch(self) -> None:
        """Go on to the next touch; a verdict that is not said by then stays unsaid."""
        self.player.next_touch()
        self._answer("")

    def action_previous_touch(self) -> None:
        """Go back to the touch before this one."""
        self.player.previous_touch()
        if not self._reads:
            self.read_meter()

    def action_faster(self) -> None:
        """Play faster."""
        self.player.faster()

    def action_slower(self) -> None:
        """Play slower."""
        self.player.slower()

    def action_help(self) -> None:
        """Show the help, or go back to the work."""
        self._page.turn_to("help", Content("\n".join(_HELP)))

    def action_leave(self) -> None:
        """Leave; a record is kept anyway."""
        self.exit(0)


def run_replay_screen(player: ReplayPlayer, *, title: str, hide: bool = False) -> int:
    """Show ``player`` until the user leaves; return the exit code.

    ``hide``: each verdict until the user has said theirs.
    """
    return ReplayApp(player, title=title, hide=hide).run() or 0
