"""Ends that nobody at the keyboard asked for: a fault of the program itself, on whatever thread
it came, and the signals by which a system or a closed terminal ends a program.

The user reads one sentence: what is safe on disk, and where the details are. The details go into
a file beside the job, or into the user's state folder where no job was open. They never hold the
values of variables, which may be a customer's data.
"""

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from meterlink import __version__
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    from captures.job.job import JobWriter

EXIT_CODE: Final = 70
"""EX_SOFTWARE of ``sysexits.h`` (4.3BSD): an internal software error."""

FILE: Final = "program-fault"
_MOST_FILES: Final = 1000
_LONGEST_LINE: Final = 1000
_MOST_LINES: Final = 2000
_LIBRARIES: Final = ("textual", "msgspec", "numpy", "pyserial", "pyvisa")


_ENDING: Final = tuple(
    getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)
)
"""What asks a program to end: not every system has each."""


class ProgramFaults:
    """Watches over one run of the command line; use it in ``with`` around all of it.

    A fault on another thread, or a signal, interrupts the main one, as the user would, so that
    everything is closed and sealed on the way out; ``struck`` or ``ended_by`` then say that it was
    no user.
    """

    def __init__(self) -> None:
        self.struck: BaseException | None = None
        """The first fault on a thread that nobody waits for."""
        self.ended_by: signal.Signals | None = None
        """The first signal that asked the program to end."""
        self._lock = threading.Lock()
        self._running = False

    @contextlib.contextmanager
    def watching(self) -> Iterator[None]:
        """Notice faults on every thread until the end of the ``with`` statement."""
        before = threading.excepthook
        threading.excepthook = self._on_thread
        self._running = True
        try:
            with self._signals():
                yield
        finally:
            with self._lock:
                self._running = False
            if self.struck is None:  # else: what fails in its wake has been told already
                threading.excepthook = before

    @contextlib.contextmanager
    def _signals(self) -> Iterator[None]:
        """Heed the signals that nobody has said to ignore; only a main thread can."""
        main = threading.current_thread() is threading.main_thread()
        heeded = [s for s in _ENDING if main and signal.getsignal(s) is signal.SIG_DFL]
        for number in heeded:
            signal.signal(number, self._on_signal)
        try:
            yield
        finally:
            if self.ended_by is None:  # else: once more must not cut short what is being closed
                for number in heeded:
                    signal.signal(number, signal.SIG_DFL)

    def _on_signal(self, number: int, frame: object) -> None:
        if self.ended_by is None:
            self.ended_by = signal.Signals(number)
            signal.raise_signal(signal.SIGINT)

    def _on_thread(self, fault: threading.ExceptHookArgs) -> None:
        if fault.exc_value is None or isinstance(fault.exc_value, SystemExit):
            return
        with self._lock:
            first = self.struck is None
            if first:
                self.struck = fault.exc_value
            if first and self._running:
                _interrupt_main()


def _interrupt_main() -> None:
    """Interrupt the main thread as ctrl+c does, and out of a wait where the system lets us."""
    if hasattr(signal, "pthread_kill"):
        main = threading.main_thread().ident
        if main is not None:
            signal.pthread_kill(main, signal.SIGINT)
        return
    import _thread

    _thread.interrupt_main()


# --- what is being written ----------------------------------------------------------------------

_open_job: "JobWriter | None" = None
"""The job that this run of the program writes; one process works on one job."""


def working_on(job: "JobWriter | None") -> None:
    """Say which job is being written, so that a fault can say what of it is safe."""
    global _open_job
    _open_job = job


# --- what is said -------------------------------------------------------------------------------


def told_of_signal(number: signal.Signals) -> str:
    """Return the sentence for a user whose program was ended by a signal."""
    return f"ended by {number.name}; {_safe()}"


def told(fault: BaseException, argv: Sequence[str]) -> str:
    """Write the details of ``fault`` into a file; return the sentence for the user.

    ``argv`` is the command line without the program's name. Never raises: where no file can be
    written, the sentence holds what it can.
    """
    job = None if _open_job is None else _open_job.folder
    name = type(fault).__name__
    says = f"the program itself has a fault ({plain(name, 80)}) and had to end"
    return f"{says}; {_safe()}; {_details(fault, argv, job)}"


def _safe() -> str:
    if _open_job is None:
        return "no job was open, and what was recorded before is untouched"
    folder = plain(str(_open_job.folder), 400)
    if _open_job.trouble:
        return f"what came last could not be written any more, all before it is safe in {folder}"
    return f"everything recorded until then is safe in {folder}"


def _details(fault: BaseException, argv: Sequence[str], job: Path | None) -> str:
    text = details(fault, argv).encode("utf-8", "replace")
    for folder in (job, _state_folder()):
        file = None if folder is None else _write_new(folder, text)
        if file is not None:
            return f"the details, for those who mend the program, are in {plain(str(file), 400)}"
    import traceback

    where = traceback.extract_tb(fault.__traceback__)
    at = f" at {Path(where[-1].filename).name}:{where[-1].lineno}" if where else ""
    return f"the details could be written nowhere, it says “{plain(_words(fault), 200)}”{at}"


def _state_folder() -> Path | None:
    try:
        import platformdirs

        return platformdirs.user_state_path("meterlink", appauthor=False)
    except Exception:  # noqa: BLE001  # a home that cannot be found must not hide the fault
        return None


def _write_new(folder: Path, text: bytes) -> Path | None:
    """Write ``text`` under a name that is not taken; None where that cannot be."""
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        for number in range(1, _MOST_FILES):
            file = folder / f"{FILE}-{number}.txt"
            try:
                opened = file.open("xb")  # never follows a link, never overwrites
            except FileExistsError:
                continue
            with opened:
                opened.write(text)
                opened.flush()
                os.fsync(opened.fileno())
            return file
    return None


def details(fault: BaseException, argv: Sequence[str]) -> str:
    """Return all that helps to mend ``fault``: versions, command line, traceback, as plain text."""
    import platform
    from datetime import datetime

    command = " ".join(plain(word, 300) for word in ("meterlink", *argv))
    lines = [
        "A fault of meterlink itself. Please hand this file to whoever looks after the program.",
        "",
        f"when: {datetime.now().astimezone().isoformat(timespec='seconds')}",
        f"meterlink: {__version__}",
        f"python: {platform.python_version()} on {platform.platform()}",
        *(f"{name}: {_version(name)}" for name in _LIBRARIES),
        f"command line: {command}",
        "",
        *_traceback(fault),
    ]
    return "".join(f"{plain(line, _LONGEST_LINE)}\n" for line in lines)


def _traceback(fault: BaseException) -> list[str]:
    """Return the lines of the traceback, without anybody's local variables."""
    import traceback

    try:
        told = traceback.TracebackException.from_exception(fault, capture_locals=False)
        lines = [line for part in told.format() for line in part.rstrip("\n").split("\n")]
    except Exception as other:  # noqa: BLE001  # an exception whose own words fail
        lines = [
            f"{type(fault).__name__}, of which no traceback can be had ({type(other).__name__})"
        ]
    if len(lines) > _MOST_LINES:
        half = _MOST_LINES // 2
        lines = [*lines[:half], "[...]", *lines[-half:]]
    return lines


def _words(fault: BaseException) -> str:
    try:
        return str(fault)
    except Exception:  # noqa: BLE001  # an exception whose own words fail
        return ""


def _version(library: str) -> str:
    from importlib import metadata

    try:
        return metadata.version(library)
    except metadata.PackageNotFoundError:
        return "not installed"


def end_output() -> None:
    """Get out what is still to be printed, so that the sentence stands last; never raises."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(Exception):
            stream.flush()
