"""The bench screen: what the meter sees, what it means, what to do next.

Three threads: the reader runs the session, a teller takes commands to it one after another, and
the screen only gets messages. A slow terminal holds up neither of the others.
"""

import copy
import threading
import time
from asyncio import get_running_loop
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from os import environ
from pathlib import Path
from typing import ClassVar, Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.worker import Worker, WorkerState

from captures.record.files import local_now, rfc3339
from meterlink.bench.snapshot import Update
from meterlink.commands import AnyCommand, Gestures, How
from meterlink.errors import MeterlinkError
from meterlink.events import StepReopened
from meterlink.quantities.text import plain
from tui.screen.body import BenchBody, CautionsView
from tui.screen.entry import EntryView
from tui.screen.keys import (
    COMMANDS,
    NAMES,
    KeyCommand,
    bindings,
    command_named,
    keymap,
    signed,
    types_something,
    works,
)
from tui.screen.pages import SummaryView, budget_page, help_page
from tui.screen.picture import HandsView, PlayedHands
from tui.screen.preferences import PreferencesApp, Sounds, TeachingView
from tui.screen.sitting import (
    BellStruck,
    CommandTaken,
    Happened,
    KeysLine,
    LinkState,
    LookShown,
    NoticeLine,
    Pulse,
    SessionView,
    StatusLine,
)
from tui.screen.themes import PLAIN, THEMES
from tui.screen.view import View
from tui.settings import ScreenSettings

FRAME_S: Final = 0.05
"""No more than twenty pictures a second, however fast the meter is."""
LEAVE_S: Final = 3.0
"""Quit is pressed twice within this while the card is not done: an elbow decides nothing."""


class BenchApp(PreferencesApp):
    """The whole screen over one session."""

    CSS_PATH = Path(__file__).with_name("bench.tcss")
    TITLE = "meterlink"
    AUTO_FOCUS = None
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(), ("escape", "to_keys", "keys")]

    def __init__(
        self,
        session: SessionView,
        *,
        title: str,
        who: str = "",
        settings: ScreenSettings | None = None,
        keep: Callable[[ScreenSettings], None] | None = None,
        hands: PlayedHands | None = None,
        where: str = "",
    ) -> None:
        """Show ``session``; ``run`` returns once the user has left.

        ``title`` is the job's, ``who`` works; ``keep`` is given the settings whenever they were
        changed on the screen; ``hands``: those of a simulated bench, for the user to play;
        ``where``: the folder that all is kept in, to be named at the end.
        """
        # Our own plain theme serves those who want no colour; the library's filter for them cannot
        # bear the plot's unstyled cells, so it is not asked for.
        self.uncoloured = environ.pop("NO_COLOR", None) is not None
        super().__init__()
        self.HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (100, "-middling"), (140, "-wide")]
        self.VERTICAL_BREAKPOINTS = [(0, "-low"), (30, "-tall"), (40, "-lofty")]
        self.session = session
        self.settings = settings or ScreenSettings()
        self._keep = keep
        self._hands = hands
        self._who = who
        bench = session.bench
        self.view = View(copy.deepcopy(bench.progress), bench.profile, bench.accuracy)
        self.sounds = Sounds(bench.card, bench.profile, lambda: self.post_message(BellStruck()))
        self.frames = 0
        """How often the page was painted."""
        self._stop = threading.Event()
        self._teller = ThreadPoolExecutor(max_workers=1, thread_name_prefix="teller")
        self._painted_at = 0.0
        self.paint_due = False
        """Whether something is known that is not painted yet."""
        self.reader_fault = ""
        """Why the meter is no longer read, as one sentence; empty while it is."""
        self._telling = False
        """Whether a command is on its way to the bench, and not on the screen yet."""
        self._hint = ""
        self._leave_until = 0.0
        self._reads = False
        self.pulse = Pulse(time.monotonic())
        self._status = StatusLine(title, str(session.meter))
        self._page = BenchBody(hands, where)
        self._notice, self._foot = NoticeLine(), KeysLine()

    # --- made and ended -----------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        yield self._status
        yield self._page
        with Vertical(id="foot"):
            yield self._notice
            yield TeachingView()
            yield self._foot

    def on_mount(self) -> None:
        """Dress, listen, and begin to read once the first picture stands."""
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = PLAIN.name if self.uncoloured else self.settings.theme
        self.set_keymap(keymap(self.settings.keys, self.settings.pedal))
        self.sounds.set_tones(self.settings.tones)
        self._hint = self.sounds.set_speech(self.settings.speech)
        self.session.show(self._see)
        self.session.show(self.sounds.announcer)
        if not self.settings.gestures:
            self.session.tell(Gestures(on=False))
        self.set_interval(1.0, self._tick)
        self._paint()
        self.call_after_refresh(self.read_meter)

    def on_unmount(self) -> None:
        """Let go of the threads; the reader sees the wish to stop within a fifth of a second."""
        self._stop.set()
        self._teller.shutdown(wait=False)
        self.sounds.close()

    # --- the reading thread -------------------------------------------------------------------

    def read_meter(self) -> None:
        """Begin to read, on a thread of its own."""
        self.reader_fault, self._reads = "", True
        self.run_worker(
            lambda: self.session.run(self._stop),
            name="reader",
            thread=True,
            exit_on_error=False,
        )

    def _see(self, seen: Update) -> None:
        """Post what happened; a face, called on the reading thread."""
        if seen.events:
            self.post_message(Happened(seen.events))
        self.post_message(LookShown(seen.look))

    @on(Worker.StateChanged)
    def _reader_changed(self, event: Worker.StateChanged) -> None:
        if event.worker.name != "reader" or not event.worker.is_finished:
            return
        self._reads = False
        if event.state is WorkerState.ERROR and event.worker.error is not None:
            self._met(event.worker.error)
        self._tick()

    def _met(self, fault: BaseException) -> None:
        """Say what is wrong with the meter; what nobody foresaw ends the screen."""
        if isinstance(fault, MeterlinkError):
            self.reader_fault = plain(str(fault), 300).rstrip(".")
        else:
            self.fail(fault)

    @on(Happened)
    def _take_events(self, message: Happened) -> None:
        for event in message.events:
            self.view.take(event)
        if any(isinstance(event, StepReopened) for event in message.events):
            self.action_again()  # a card that was done is worked again
        self._paint_soon()

    @on(LookShown)
    def _take_look(self, message: LookShown) -> None:
        self.view.see(message.look)
        self._paint_soon()

    # --- painting -----------------------------------------------------------------------------

    def _paint_soon(self) -> None:
        """Paint now, or when the next picture is due."""
        if self.paint_due:
            return
        wait = self._painted_at + FRAME_S - time.monotonic()
        if wait <= 0:
            self._paint()
            return
        self.paint_due = True
        # Not the screen library's timer: one that is due before its task gets to run never fires,
        # and no later picture would be painted either.
        get_running_loop().call_later(wait, self.call_later, self._paint)

    def _paint(self) -> None:
        self.paint_due = False
        self._painted_at = time.monotonic()
        self.frames += 1
        body = self._body
        if body is None:  # a timer may come in while the page is being taken down
            return
        body.show(self.view)
        ended, current = self.view.progress.ended, self.view.progress.current
        asked = (body.asking, body.question, body.page)
        self._foot.show_for((*asked, ended, current, self.view.remaining_s is None))

    @property
    def _body(self) -> BenchBody | None:
        """The page, also while something else lies over it; None before and after it is there."""
        # It is taken down from its innermost parts, while keys and pictures come in.
        there = self._page.is_mounted and not self._exit
        return self._page if there else None

    def _tick(self) -> None:
        """Once a second: is the meter there, does the record get written?"""
        now = time.monotonic()
        self.pulse.beat(now, self.session.readings)
        if self._leave_until and now > self._leave_until:
            self._leave_until, self._hint = 0.0, ""
        if self._body is not None:
            self._status.show(self._link, self.pulse.rate, self.pulse.count)
            self._show_notice()

    @property
    def _link(self) -> LinkState:
        if self.reader_fault or self.view.away:
            return LinkState.LOST
        if not self._reads:
            return LinkState.ENDED
        if not self.pulse.count:
            return LinkState.OPENING
        return LinkState.SILENT if self.pulse.silent else LinkState.READING

    def _show_notice(self) -> None:
        """Show what is wrong, with its mend, in a line of its own; none where all is well."""
        meter = f"{self.reader_fault}; press m to read again" if self.reader_fault else ""
        view, sounds = self.view, self.sounds.trouble
        self._notice.say((self.session.trouble, meter, view.away, view.lost, sounds, self._hint))

    # --- commands -----------------------------------------------------------------------------

    def tell(self, command: AnyCommand) -> None:
        """Take ``command`` to the bench, without waiting for it.

        What is given before the last one has been shown was meant for what is no longer there: it
        is left out.
        """
        if not self._telling:
            self._telling = True
            self._teller.submit(self.session.tell, command).add_done_callback(self._told)

    def _told(self, done: "Future[None]") -> None:
        """Called by the thread that tells, after what happened was posted."""
        self.post_message(CommandTaken(done.exception()))

    @on(CommandTaken)
    def _taken(self, message: CommandTaken) -> None:
        self._telling = False
        if message.fault is not None:
            self._met(message.fault)
        self._paint()  # before the next key: it is meant for what is seen

    @on(EntryView.Answered)
    def _answered(self, message: EntryView.Answered) -> None:
        self._page.type_at(None)
        self.tell(signed(message.command, self._who, rfc3339(local_now())))

    def action_tell(self, name: str, how: str = "key") -> None:
        """Tell the bench the command called ``name``."""
        self.tell(signed(command_named(name, How(how)), self._who, rfc3339(local_now())))

    def action_asked(self, name: str) -> None:
        """Do the command called ``name`` while a question stands."""
        if name in COMMANDS:
            self.action_tell(name)
        else:
            getattr(self, f"action_{name}")()

    def action_typed(self) -> None:
        """Let a value be typed for the step that is done."""
        body = self._page
        if body.question is None:
            body.type_at(self.view.step)
        body.take_keys()
        self._paint()

    def action_answer(self) -> None:
        """Give the keys back to the question."""
        self._page.take_keys()
        self._paint()

    def action_to_keys(self) -> None:
        """Give the keys back to the bench; turn back to the work where a page is open."""
        body = self._page
        if body.page:
            body.turn_to(body.page, Content(""))
        else:
            body.type_at(None)
            self.set_focus(None)
        self._paint()

    def action_again(self) -> None:
        """Read again after the meter was lost."""
        if not self._reads and not self.view.progress.ended:
            self.read_meter()
            self._tick()

    def action_help(self) -> None:
        """Show the help, or go back to the work."""
        self._page.turn_to("help", help_page(self._key_of))

    def action_budget(self) -> None:
        """Show how sure the newest held value is, or go back to the work."""
        self._page.turn_to("budget", Content("\n".join(budget_page(self.view))))

    def action_hands(self) -> None:
        """Let the user play the hands of the simulated bench, or see the last minute again."""
        if not self._page.play():
            self.set_focus(None)
        self._paint_soon()

    @on(HandsView.Moved)
    def _hands_moved(self) -> None:
        self._paint_soon()

    def action_leave(self) -> None:
        """Leave; while the card is not done, only when asked for twice."""
        now = time.monotonic()
        if self.view.progress.ended or not self.view.progress.began or now <= self._leave_until:
            self.exit(0)
            return
        self._say("Press quit again to leave; everything so far is kept.")
        self._leave_until = now + LEAVE_S

    def _say(self, hint: str) -> None:
        self._hint = hint
        self._leave_until = time.monotonic() + LEAVE_S
        self._show_notice()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer what works now: the keys that type something go to a question while one stands."""
        body = self._body
        if body is None:
            return True
        match action, parameters:
            case "to_keys", _:
                resting = CautionsView | SummaryView
                elsewhere = self.focused is not None and not isinstance(self.focused, resting)
                return elsewhere or bool(body.page)
            case "answer", _:
                return body.question is not None and not body.asking and not body.page
            case "asked", (str(name),):
                return body.asking and works(name, self.view)
            case "tell", (str(), "pedal"):
                return True
            case "tell", (str(name), *_):
                return self._has_keys(name, body) and works(name, self.view)
            case "hands", _:
                return self._hands is not None and self._has_keys("hands", body)
            case _ if action in NAMES:
                return self._has_keys(action, body) and works(action, self.view)
        return True

    def _has_keys(self, name: str, body: BenchBody) -> bool:
        """Return whether the key of ``name`` is not one that is typed into a question now."""
        if not body.asking or (name == "confirm" and body.takes_space):
            return True
        return not types_something(self.settings.keys.get(name, NAMES[name].key))

    def _key_of(self, command: KeyCommand) -> str:
        key = self.settings.keys.get(command.name, command.key)
        return self.get_key_display(Binding(key, ""))
