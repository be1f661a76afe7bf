"""Practice on a screen: what was said, the drawing with the tips, the reading, how all stands.

The same lines are typed as without it, and the same rules answer. Two clicks on the drawing put
the tips on, the red one first. A line is done on a thread of its own: the screen stays live.
"""

from collections import deque
from collections.abc import Sequence
from typing import ClassVar, Final

from textual import events, on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.suggester import SuggestFromList
from textual.widgets import Digits, Footer, Input, RichLog, Static
from textual.worker import Worker, WorkerState

from meterlink.circuit.engine import connector, connectors
from meterlink.circuit.wiring import AIR, OTHER_TIP
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.training.practice import Practice
from tui.announcing.signs import wrapped
from tui.practice.bench import PracticeBench
from tui.practice.plain import PlainPractice
from tui.practice.results import Diary
from tui.practice.words import ASKED, COMMANDS
from tui.screen.picture import BLACK, RED, PictureView
from tui.screen.themes import THEMES, FaultApp

_KEPT: Final = 2000
"""Lines that can be looked back at."""
_NARROWEST: Final = 20


class RunningText(RichLog):
    """Lines of plain text, newest last, broken again whenever the width is another."""

    class Sized(Message):
        """Width or height are other than they were."""

    def __init__(self, id_: str) -> None:
        super().__init__(
            id=id_, wrap=True, markup=False, highlight=False, min_width=_NARROWEST, max_lines=_KEPT
        )
        self._kept: deque[str] = deque(maxlen=_KEPT)
        self._columns = 0
        """What the lines are broken to."""

    def say(self, line: str) -> None:
        """Show one more line."""
        self._kept.append(line)
        if self._columns:
            self._put(line)

    def on_resize(self, event: events.Resize) -> None:
        """Break all lines again where the width is another."""
        super().on_resize(event)
        columns = self.scrollable_content_region.width
        if columns != self._columns:
            self._columns = columns
            self.clear()
            for line in self._kept:
                self._put(line)
        self.post_message(self.Sized())

    def _put(self, line: str) -> None:
        self.write(wrapped(line, self._columns + 1), width=self._columns)


_LOW: Final = 30
"""Rows; a terminal with fewer has none to spare."""
_LONGEST: Final = 1000
"""Characters of a line that is shown."""


def run_practice_screen(
    practice: Practice,
    bench: PracticeBench,
    diary: Diary | None = None,
    lines: Sequence[str] | None = None,
) -> bool:
    """Show the practice until the engine is given back or the trainee leaves.

    ``lines``: those of a practice that was interrupted, to be typed once more.

    Returns whether it is over, rather than left to be gone on with another time.

    Raises:
        MeterError: the simulated meter could not be read.
        KeyboardInterrupt: the screen was closed before either.
    """
    app = PracticeApp(practice, bench, diary, lines)
    app.run()
    if app.fault is not None:
        raise app.fault
    if not app.face.over:
        raise KeyboardInterrupt
    return not app.face.later


class PracticeApp(FaultApp[None]):
    """The whole screen over one practice."""

    TITLE = "meterlink practice"
    BINDINGS: ClassVar[list[BindingType]] = [
        ("f1", "type('help')", "help"),
        ("f2", "type('look')", "look"),
        ("f3", "type('checks')", "checks"),
        ("f4", "type('places')", "places"),
        ("f5", "type('lift')", "lift"),
        ("f6", "type('on')", "on"),
        ("f7", "type('hint')", "hint"),
        ("f10", "leave", "leave"),
        # Before the line to be typed, which would do nothing with them.
        Binding("pageup", "page(-1)", "back", priority=True),
        Binding("pagedown", "page(1)", "on", show=False, priority=True),
    ]
    CSS = """
    Screen { background: $background; color: $foreground; }
    #top { height: 1; padding: 0 1; background: $panel; }
    #said { width: 1fr; padding: 0 1; }
    #beside { width: 36; border-left: solid $secondary; padding: 0 1; }
    #reading { height: 3; width: 100%; }
    #unit { height: 1; }
    #picture { height: 9; }
    #stands { height: 1fr; color: $quiet; }
    #line { height: 3; border: tall $secondary; }
    .low #line { height: 1; border: none; padding: 0 1; background: $panel; }
    """

    class Said(Message):
        """A line for the running text."""

        def __init__(self, line: str) -> None:
            super().__init__()
            self.line = line

    def __init__(
        self,
        practice: Practice,
        bench: PracticeBench,
        diary: Diary | None = None,
        lines: Sequence[str] | None = None,
    ) -> None:
        super().__init__()
        self.practice = practice
        self.bench = bench
        self.face = PlainPractice(practice, bench, self._write, diary)
        self._diary = diary
        self._before = lines
        self.fault: BaseException | None = None
        """What ended it before its time, to be raised once the screen is gone."""
        self._waiting: deque[str] = deque()
        """Typed, and not done yet."""
        self._busy = False
        self._aimed = ""
        """The place that the red tip is meant for, until the black one has its own."""

    def compose(self) -> ComposeResult:
        yield Static(id="top", markup=False)
        with Horizontal():
            yield RunningText("said")
            with Vertical(id="beside"):
                yield Digits(id="reading")
                yield Static(id="unit", markup=False)
                yield PictureView()
                yield Static(id="stands", markup=False)
        yield Input(id="line", placeholder=ASKED, suggester=SuggestFromList(self._to_type()))
        yield Footer(show_command_palette=False, compact=True)

    def on_mount(self) -> None:
        """Dress, and begin."""
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = "bench-plain" if self.no_color else "bench-dark"
        self.query_one(Input).focus()
        self._do("")

    # --- lines --------------------------------------------------------------------------------

    def on_resize(self, event: events.Resize) -> None:
        """Leave the edge of the line away where rows are few."""
        self.screen.set_class(event.size.height < _LOW, "low")

    @on(RunningText.Sized)
    def _sized(self) -> None:
        """Lay the controls out again."""
        self._show()

    def action_page(self, pages: int) -> None:
        """Go back or on in the running text."""
        text = self.query_one(RunningText)
        if pages < 0:
            text.scroll_page_up(animate=False)
        else:
            text.scroll_page_down(animate=False)

    def action_type(self, line: str) -> None:
        """Do ``line`` as though it had been typed."""
        self._do(line)

    def action_leave(self) -> None:
        """Leave, to go on another time where that can be; else for good."""
        self._do("quit" if self._diary is None else "later")

    def action_help_quit(self) -> None:
        """Say how to leave, to somebody who presses what ends other programs."""
        self.query_one(RunningText).say("  F10 leaves.")

    @on(Input.Submitted)
    def _typed(self, event: Input.Submitted) -> None:
        event.input.value = ""
        self._do(event.value)

    @on(PictureView.Pointed)
    def _pointed(self, event: PictureView.Pointed) -> None:
        if not self._aimed:
            self._aimed = event.place
            self._show()
            return
        red, self._aimed = self._aimed, ""
        self.action_type(f"probes {red}, {event.place}")

    def _do(self, line: str) -> None:
        """Do a line on the working thread, after those that were typed before it."""
        self._waiting.append(line)
        if not self._busy:
            self._next()

    def _next(self) -> None:
        self._busy = bool(self._waiting)
        if self._busy:
            self._work(self._waiting.popleft())

    @work(thread=True, group="line", exit_on_error=False)
    def _work(self, line: str) -> None:
        if line:
            self.post_message(self.Said(f"{self.face.prompt()}{line}"))
            self.face.take(line)
        elif not self.practice.ledger.lines and self.bench.reading is None:
            if self._before is None:
                self.face.begin()
            else:
                self.face.again(self._before)

    @on(Worker.StateChanged)
    def _done(self, event: Worker.StateChanged) -> None:
        if not event.worker.is_finished:
            return
        if event.state is WorkerState.ERROR:
            self.fault = event.worker.error
            self.exit()
        elif self.face.over:
            self.exit()
        else:
            self._show()
            self._next()

    def _write(self, line: str) -> None:
        """Post a line for the running text; called on the working thread."""
        self.post_message(self.Said(line))

    @on(Said)
    def _say(self, message: Said) -> None:
        self.query_one(RunningText).say(plain(message.line, _LONGEST))

    # --- what can be seen ---------------------------------------------------------------------

    def _show(self) -> None:
        """Show reading, tips, controls and ledger as they are now."""
        ledger = self.practice.ledger
        model = self.practice.case.model
        top = f"{self.face.prompt().removesuffix(' > ')}  {ledger.parts:g} in parts"
        top += f"  ({model.table.complaints[model.complaint]})"
        self.query_one("#top", Static).update(Content(plain(top)))
        reading = self.bench.reading
        digits, unit = "", "the meter shows nothing yet"
        if reading is not None:
            over = reading.overload
            digits, _, unit = ("", "", "over range") if over else _apart(reading.value)
        self.query_one("#reading", Digits).update(digits)
        self.query_one("#unit", Static).update(Content(unit))
        self.query_one(PictureView).mark(self._marks(), closed=self._stop_closed())
        stands = self.query_one("#stands", Static)
        stands.update(Content("\n".join(map(plain, self._stands(stands.size.height)))))

    def _stands(self, rows: int) -> list[str]:
        """Return how every control stands: a line each, or run together where rows are few."""
        aimed = [f"red on {self._aimed}; black on …?"] if self._aimed else []
        condition, engine = self.practice.condition, self.practice.engine
        stands = {name: condition.position(name, engine) for name in self.practice.controls}
        each = [f"{name}: {position}" for name, position in stands.items()]
        if len(aimed) + len(each) <= rows:
            return aimed + each
        joints = connectors(engine)
        words = [f"{name}: {stands[name]}" for name in stands if name not in joints]
        apart = [s.name for s in engine.switch if stands[connector(s.name)] == "off"]
        return [*aimed, "; ".join([*words, f"unplugged: {', '.join(apart) or 'nothing'}"])]

    def _marks(self) -> dict[str, str]:
        red, black = self.bench.touching
        if self._aimed:
            return {self._aimed: RED}
        if AIR in (red, black) or OTHER_TIP in (red, black):
            return {}
        return {red: RED + BLACK} if red == black else {red: RED, black: BLACK}

    def _stop_closed(self) -> bool:
        first = self.practice.engine.switch[0]
        position = self.practice.condition.position(first.name, self.practice.engine)
        return first.positions[position] == "closed"

    def _to_type(self) -> list[str]:
        """Return lines that a trainee may mean, to be offered while typing."""
        words = [word.partition(" ")[0] for word in COMMANDS]
        checks = [f"check {check}" for check in self.practice.checks]
        sets = [
            f"set {control} {position}"
            for control, positions in self.practice.controls.items()
            for position in positions
        ]
        names = [f"name {place}" for place in self.practice.places]
        return [*words, *checks, *sets, *names]


def _apart(value: float) -> tuple[str, str, str]:
    """Return digits and unit of a value as people write it."""
    return format_value(value, "ohm").partition(" ")
