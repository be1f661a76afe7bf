"""The front doors: the command line typed into by a pipe or a terminal, and the full screen.

Each is begun with the words of a command line, takes what a person gives, and tells at the end its
exit code and all that it showed.
"""

import asyncio
import contextlib
import io
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError
from pathlib import Path
from typing import Any, Final, Self
from unittest.mock import patch

from textual import events
from textual._context import active_app
from textual.app import App
from textual.keys import _character_to_key

import drivers.clock
from meterlink.steps.entry import ConfirmationStep, EntryStep
from tests.journeys.cues import LONGEST_S
from tests.journeys.hands import Hurried
from tui.cli import main
from tui.screen import app as screen_app
from tui.screen.app import BenchApp
from tui.screen.body import BenchBody
from tui.screen.entry import AnswerLine
from tui.screen.keys import NAMES, KeyCommand

PROGRAM: Final = Path(__file__).with_name("program.py")
TYPED: Final = {"confirm": "yes", "deny": "no", "leave": "quit"}
TOUCHED_OFF: Final = "Traceback"


def home(folder: Path) -> dict[str, str]:
    """Return what makes ``folder`` the home of a program."""
    return {
        "HOME": str(folder),
        "XDG_CONFIG_HOME": str(folder / "config"),
        "XDG_DATA_HOME": str(folder / "data"),
        "XDG_STATE_HOME": str(folder / "state"),
        "APPDATA": str(folder / "config"),
        "LOCALAPPDATA": str(folder / "config"),
        "PYTHONUTF8": "1",
    }


def line_of(command: str, text: str) -> str:
    """Return the line that a person types for a command."""
    if command == "enter":
        return text
    return f"{TYPED.get(command, command)} {text}".strip()


class Console(io.TextIOWrapper):
    """Standard output into a file, that says whether it is a terminal."""

    def __init__(self, file: Path, *, terminal: bool) -> None:
        super().__init__(file.open("wb"), encoding="utf-8", write_through=True)
        self._terminal = terminal

    def isatty(self) -> bool:
        return self._terminal


class _Within:
    """The program on a thread of this process: standard streams, clock and home are exchanged."""

    def __init__(self, folder: Path, clock: Hurried, *, terminal: bool) -> None:
        self.folder, self._clock, self._terminal = folder, clock, terminal
        self.code: int | None = None
        self.fault: BaseException | None = None

    @contextlib.contextmanager
    def _exchanged(self) -> Iterator[int]:
        out, err = self.folder / "out.txt", self.folder / "err.txt"
        theirs, ours = os.pipe()
        typed = io.TextIOWrapper(os.fdopen(theirs, "rb"))
        typed.isatty = lambda: self._terminal  # type: ignore[method-assign]
        with (
            Console(out, terminal=self._terminal) as said,
            Console(err, terminal=self._terminal) as wrong,
            typed,
            patch.object(sys, "stdin", typed),
            patch.object(sys, "stdout", said),
            patch.object(sys, "stderr", wrong),
            patch.object(drivers.clock, "MonotonicClock", lambda: self._clock),
            patch.dict(os.environ, home(self.folder)),
        ):
            os.environ.pop("NO_COLOR", None)
            try:
                yield ours
            finally:
                with contextlib.suppress(OSError):
                    os.close(ours)

    def shown(self) -> str:
        """Return all that was printed."""
        return (self.folder / "out.txt").read_text(encoding="utf-8")

    def errors(self) -> str:
        return (self.folder / "err.txt").read_text(encoding="utf-8") + (
            f"{TOUCHED_OFF} {self.fault!r}" if self.fault else ""
        )


class Plain(_Within):
    """``--plain`` on a thread of this process, lines typed over a pipe."""

    name = "plain"

    def __init__(self, folder: Path, clock: Hurried, argv: list[str]) -> None:
        super().__init__(folder, clock, terminal=False)
        self._argv = [*argv, "--plain"]
        self._thread = threading.Thread(target=self._run, name="program", daemon=True)

    def __enter__(self) -> Self:
        self._stack = contextlib.ExitStack()
        self._typing = self._stack.enter_context(self._exchanged())
        self._thread.start()
        return self

    def _run(self) -> None:
        try:
            self.code = main(self._argv)
        except BaseException as fault:  # noqa: BLE001  # it is what the journey asserts on
            self.fault = fault

    def alive(self) -> bool:
        return self._thread.is_alive()

    def tell(self, command: str, text: str = "") -> None:
        os.write(self._typing, f"{line_of(command, text)}\n".encode())

    def last_screen(self) -> str:
        return ""

    def finish(self) -> None:
        """Wait until the program has ended by itself."""
        self._thread.join(LONGEST_S)

    def __exit__(self, *exc: object) -> None:
        if self.alive():
            self.tell("leave")
            self._thread.join(LONGEST_S)
        self._stack.close()


class Process:
    """``--plain`` in a process of its own, over a pipe or a pseudo-terminal."""

    def __init__(self, folder: Path, clock_file: Path, argv: list[str], *, pty: bool) -> None:
        self.name = "pty" if pty else "pipe"
        self.folder, self._pty = folder, pty
        self._argv = [sys.executable, str(PROGRAM), str(clock_file), *argv, "--plain"]
        self.code: int | None = None

    def __enter__(self) -> Self:
        self._out = (self.folder / "out.txt").open("ab")
        self._err = (self.folder / "err.txt").open("ab")
        theirs: Any = subprocess.PIPE
        if self._pty:
            import pty

            self._near, theirs = pty.openpty()
        self._process = subprocess.Popen(
            self._argv,
            stdin=theirs,
            stdout=self._out,
            stderr=self._err,
            env={**os.environ, **home(self.folder)},
        )
        if self._pty:
            os.close(theirs)
        return self

    def alive(self) -> bool:
        return self._process.poll() is None

    def tell(self, command: str, text: str = "") -> None:
        line = f"{line_of(command, text)}\n".encode()
        with contextlib.suppress(BrokenPipeError):
            if self._pty:
                os.write(self._near, line)
            elif self._process.stdin is not None:
                self._process.stdin.write(line)
                self._process.stdin.flush()

    def kill(self) -> None:
        """End it as a power cut would, as far as a program can tell."""
        self._process.kill()
        self._process.wait()

    def finish(self) -> None:
        self.code = self._process.wait(LONGEST_S)

    def last_screen(self) -> str:
        return ""

    def shown(self) -> str:
        return (self.folder / "out.txt").read_text(encoding="utf-8")

    def errors(self) -> str:
        return (self.folder / "err.txt").read_text(encoding="utf-8")

    def __exit__(self, *exc: object) -> None:
        if self.alive():
            self.kill()
        if self._pty:
            os.close(self._near)
        elif self._process.stdin is not None:
            with contextlib.suppress(BrokenPipeError):
                self._process.stdin.close()
        self._out.close()
        self._err.close()


class Screen(_Within):
    """The full screen, begun by the same command line and worked by keys alone."""

    def __init__(
        self, folder: Path, clock: Hurried, argv: list[str], size: tuple[int, int]
    ) -> None:
        super().__init__(folder, clock, terminal=True)
        self.name = f"{size[0]}x{size[1]}"
        self._argv, self._size = argv, size
        self._thread = threading.Thread(target=self._run, name="program", daemon=True)
        self._there = threading.Event()
        self._screen = ""

    def __enter__(self) -> Self:
        self._stack = contextlib.ExitStack()
        self._stack.enter_context(self._exchanged())
        self._stack.enter_context(patch.object(App, "run", self._shown_by_pilot()))
        # Time is hurried and pictures are not, so fewer of them show the same work.
        self._stack.enter_context(patch.object(screen_app, "FRAME_S", 0.25))
        self._thread.start()
        return self

    def _run(self) -> None:
        try:
            self.code = main(self._argv)
        except BaseException as fault:  # noqa: BLE001
            self.fault = fault

    def _shown_by_pilot(self) -> Any:
        face = self

        def run(app: App[Any], *_: object, **__: object) -> Any:
            async def show() -> None:
                async with app.run_test(size=face._size):
                    face.app = app
                    face.loop = asyncio.get_running_loop()
                    face._there.set()
                    while app.is_running and not app._exit:
                        await asyncio.sleep(0.01)

            asyncio.run(show())
            return app.return_value

        return run

    app: App[Any]
    loop: asyncio.AbstractEventLoop

    def alive(self) -> bool:
        return self._thread.is_alive()

    def do(self, work: Any) -> Any:
        """Run a coroutine where the screen lives; return what it gives."""
        assert self._there.wait(LONGEST_S), self.errors()

        async def within() -> Any:
            active_app.set(self.app)
            return await work

        return asyncio.run_coroutine_threadsafe(within(), self.loop).result(2 * LONGEST_S)

    def press(self, *keys: str) -> None:
        """Press keys one after another, as a terminal sends them: nothing waits for the page."""
        self.do(self._press(*keys))

    async def _press(self, *keys: str) -> None:
        # The pilot's own way waits after each key until the computer has nothing to do, and with a
        # meter that reads on there is no such moment.
        for key in keys:
            sign = key if len(key) == 1 else _SIGNS.get(key)
            name = _character_to_key(key) if len(key) == 1 else key
            assert self.app._driver is not None
            self.app._driver.process_message(events.Key(name, sign))
            await asyncio.sleep(0)

    def tell(self, command: str, text: str = "") -> None:
        self.do(self._tell(command, text))

    async def _tell(self, command: str, text: str) -> None:
        await self._settled()
        if command == "enter":
            await self._enter(text)
        elif command == "leave":
            await self._leave()
        elif self._asking and command in ("confirm", "deny"):
            yes_no = self._body.question is not None and self._body.question.yes_no
            if yes_no:
                await self._enter("yes" if command == "confirm" else "no")
            else:
                await self._press("space")
        else:
            await self._command(NAMES[command])

    async def _command(self, command: KeyCommand) -> None:
        if self._asking and not command.asked and len(command.key) == 1:
            await self._press("escape")
            await self._until(lambda: not self._asking)
        await self._press((self._asking and command.asked) or command.key)

    async def _enter(self, text: str) -> None:
        if self._body.question is None:
            await self._press(NAMES["typed"].key)
        elif not self._asking:
            await self._press("enter")
        await self._until(lambda: self._asking)
        line = self._body.query_one(AnswerLine)
        if line.value:  # the library takes a key that has a binding later than signs typed after it
            await self._press("end", "ctrl+u")
            await self._until(lambda: not line.value)
        await self._press(*keys_of(text), "enter")

    @property
    def _body(self) -> BenchBody:
        return self.app.screen_stack[0].query_one(BenchBody)

    @property
    def _asking(self) -> bool:
        return self._body.asking

    async def _until(self, condition: Callable[[], bool]) -> None:
        deadline = time.monotonic() + LONGEST_S
        while not condition() and time.monotonic() < deadline:
            await asyncio.sleep(0.004)

    async def _settled(self) -> None:
        """Wait until the page shows where the session stands."""
        if isinstance(self.app, BenchApp):
            await self._until(self._shows)

    def _shows(self) -> bool:
        app = self.app
        assert isinstance(app, BenchApp)
        if app._exit:
            return True
        step = app.view.step
        if app.session.bench.progress.ended != app.view.progress.ended:
            return False
        if app._telling or ("" if step is None else step.id) != (_current(app) or ""):
            return False
        return not isinstance(step, EntryStep | ConfirmationStep) or self._asking

    def _rows(self) -> str:
        rows = self.app.screen._compositor.render_strips()
        return "\n".join(strip.text.rstrip() for strip in rows)

    def text(self) -> str:
        """Return what the screen shows now, a line a row."""

        async def read() -> str:
            return self._rows()

        return str(self.do(read()))

    def finish(self) -> None:
        """Look at the last page, and leave."""
        self.do(self._settled())
        self.do(self._until(lambda: "The card is done" in self._rows()))
        self._screen = self.text()
        deadline = time.monotonic() + LONGEST_S
        while self.alive() and time.monotonic() < deadline:
            with contextlib.suppress(RuntimeError, CancelledError):  # it may be gone already
                self.do(self._leave())
            self._thread.join(0.1)

    async def _leave(self) -> None:
        if self.app.is_running and not self.app._exit:
            command = NAMES["leave"]
            await self._press((self._asking and command.asked) or command.key)

    def last_screen(self) -> str:
        return self._screen

    def __exit__(self, *exc: object) -> None:
        if self.alive() and self._there.is_set():
            self.loop.call_soon_threadsafe(self.app.exit)
            self._thread.join(LONGEST_S)
        self._stack.close()


def _current(app: BenchApp) -> str | None:
    return app.session.bench.progress.current


_SIGNS: Final = {"space": " ", "enter": "\r", "tab": "\t", "escape": "\x1b", "question_mark": "?"}


def keys_of(text: str) -> list[str]:
    """Return the keys that type ``text``."""
    return ["space" if sign == " " else sign for sign in text]
