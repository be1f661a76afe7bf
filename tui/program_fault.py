"""A fault of the program itself: the exception that nobody foresaw, on whatever thread it came.

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


class ProgramFaults:
    """Watches over one run of the command line; use it in ``with`` around all of it.

    A fault on another thread interrupts the main one, as the user would, so that everything is
    closed and sealed on the way out; ``struck`` then says that it was no user.
    """

    def __init__(self) -> None:
        self.struck: BaseException | None = None
        """The first fault on a thread that nobody waits for."""
        self._lock = threading.Lock()
        self._running = False

    @contextlib.contextmanager
    def watching(self) -> Iterator[None]:
        """Notice faults on every thread until the end of the ``with`` statement."""
        before = threading.excepthook
        threading.excepthook = self._on_thread
        self._running = True
        try:
            yield
        finally:
            with self._lock:
                self._running = False
            if self.struck is None:  # else: what fails in its wake has been told already
                threading.excepthook = before

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


def told(fault: BaseException, argv: Sequence[str]) -> str:
    """Write the details of ``fault`` into a file; return the sentence for the user.

    ``argv`` is the command line without the program's name. Never raises: where no file can be
    written, the sentence holds what it can.
    """
    job, unwritten = None, False
    if _open_job is not None:
        job, unwritten = _open_job.folder, bool(_open_job.trouble)
    name = type(fault).__name__
    says = f"the program itself has a fault ({plain(name, 80)}) and had to end"
    return f"{says}; {_safe(job, unwritten)}; {_details(fault, argv, job)}"


def _safe(job: Path | None, unwritten: bool) -> str:
    if job is None:
        return "no job was open, and what was recorded before is untouched"
    folder = plain(str(job), 400)
    if unwritten:
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
    return f"the details could be written nowhere, it says «{plain(_words(fault), 200)}»{at}"


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
