"""The front doors: the command line typed into by a pipe or a terminal, and the full screen.

Each is begun with the words of a command line, takes what a person gives, and tells at the end its
exit code and all that it showed.
"""

import contextlib
import io
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Self
from unittest.mock import patch

from drivers.clock import MonotonicClock
from tests.journeys.cues import LONGEST_S
from tests.journeys.hands import Hurried
from tui.cli import main

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


class Within:
    """The program on a thread of this process: standard streams, clock and home are exchanged."""

    def __init__(self, folder: Path, clock: Hurried, *, terminal: bool) -> None:
        self.folder, self._clock, self._terminal = folder, clock, terminal
        self.code: int | None = None
        self.fault: BaseException | None = None

    @contextlib.contextmanager
    def exchanged(self) -> Iterator[int]:
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
            # Not the name: whoever imported the class would go on with the first run's clock.
            patch.object(MonotonicClock, "__new__", lambda _: self._clock),
            patch.dict(os.environ, home(self.folder)),
        ):
            os.environ.pop("NO_COLOR", None)
            try:
                yield ours
            finally:
                with contextlib.suppress(OSError):
                    os.close(ours)
                # The thread that reads typed lines outlives the program by a moment. Left alone
                # it would read on from whatever gets this descriptor next, and swallow a line.
                for thread in threading.enumerate():
                    if thread.name == "typed commands":
                        thread.join(LONGEST_S)

    def shown(self) -> str:
        """Return all that was printed."""
        return (self.folder / "out.txt").read_text(encoding="utf-8")

    def errors(self) -> str:
        return (self.folder / "err.txt").read_text(encoding="utf-8") + (
            f"{TOUCHED_OFF} {self.fault!r}" if self.fault else ""
        )


class Plain(Within):
    """``--plain`` on a thread of this process, lines typed over a pipe."""

    name = "plain"

    def __init__(self, folder: Path, clock: Hurried, argv: list[str]) -> None:
        super().__init__(folder, clock, terminal=False)
        self._argv = [*argv, "--plain"]
        self._thread = threading.Thread(target=self._run, name="program", daemon=True)

    def __enter__(self) -> Self:
        self._stack = contextlib.ExitStack()
        self._typing = self._stack.enter_context(self.exchanged())
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
