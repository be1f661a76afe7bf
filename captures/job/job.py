"""A job: one folder with everything about one engine on the bench.

2026-11-03-pump-7-no-spark/
    log.jsonl             what happened, append-only (see ``joblog``)
    captures/0001-primary.jsonl
    attachments/0001-photo.jpg
    report.html
"""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final, Self

from captures.job.joblog import JobLog, LogEntry, LogReader, WallClock
from captures.job.names import safe_name
from captures.record.append_file import OnTrouble
from captures.record.records import CaptureBegan, CaptureEnded, Header
from captures.record.times import local_now
from captures.record.writer import RecordWriter
from meterlink.closing import Closing
from meterlink.errors import CannotWriteError, UnreadableError
from meterlink.quantities.text import plain

LOG_NAME: Final = "log.jsonl"
CAPTURES_FOLDER: Final = "captures"
ATTACHMENTS_FOLDER: Final = "attachments"


class Job:
    """A job's folder, to look into. Nothing is read before it is asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @property
    def name(self) -> str:
        """The folder's own name, by which commands call the job."""
        return self.folder.name

    @property
    def log_path(self) -> Path:
        """The job log."""
        return self.folder / LOG_NAME

    def header(self) -> Header:
        """Return the log's header: title, start, program.

        Raises:
            UnreadableError: there is no log, or it cannot be read.
        """
        with LogReader(self.log_path) as reader:
            return reader.header

    def entries(self) -> Iterator[LogEntry]:
        """Yield the log's events with their wall times, oldest first.

        Raises:
            UnreadableError: there is no log, or it cannot be read.
        """
        with LogReader(self.log_path) as reader:
            yield from reader.entries()

    def captures(self) -> list[Path]:
        """Return the captures in the order they were begun."""
        return sorted((self.folder / CAPTURES_FOLDER).glob("*.jsonl"), key=_by_number)

    def attachments(self) -> list[Path]:
        """Return the attached files in the order they were attached."""
        found = (p for p in (self.folder / ATTACHMENTS_FOLDER).glob("*") if p.is_file())
        return sorted(found, key=_by_number)


class CaptureWriter(RecordWriter):
    """A capture inside a job: its end is told to the job log."""

    _log: JobLog | None = None
    _file_name = ""

    def close(self) -> None:
        """Write the final seal, here and into the job log. Safe to call twice."""
        log, self._log = self._log, None
        try:
            super().close()
        finally:
            if log is not None and self.seal is not None:
                ended = CaptureEnded(
                    t=self.last_t,
                    file=self._file_name,
                    lines=self.seal.lines,
                    sha256=self.seal.sha256,
                )
                log.append(ended)


class JobWriter(Closing):
    """A job that is being worked on. One program at a time; use it in ``with``, or close it."""

    def __init__(self, job: Job, log: JobLog, on_trouble: OnTrouble | None = None) -> None:
        self.job = job
        self.log = log
        self._on_trouble = on_trouble
        self._captures: list[CaptureWriter] = []

    @classmethod
    def resume(
        cls, job: Job, *, clock: WallClock = local_now, on_trouble: OnTrouble | None = None
    ) -> Self:
        """Go on with a job that was closed or that a crash ended.

        Captures that a crash left open are continued, so far as to say in a gap until when nothing
        was recorded, and closed: what they hold is under a seal from then on.

        Raises:
            InUseError: another program works on it.
            UnreadableError: its log cannot be read.
        """
        writer = cls(job, JobLog.resume(job.log_path, clock, on_trouble), on_trouble)
        for path in _left_open(job):
            with contextlib.suppress(UnreadableError, CannotWriteError):  # checking a job names it
                writer.resume_capture(path, clock).close()
        return writer

    @property
    def folder(self) -> Path:
        """The job's folder."""
        return self.job.folder

    def new_capture(self, header: Header) -> CaptureWriter:
        """Begin a capture in the job's folder and say so in the log.

        Its name is a number and the header's step (or card).

        Raises:
            CannotWriteError: the file cannot be made.
        """
        path = self.free_path(CAPTURES_FOLDER, header.step or header.card, ".jsonl")
        capture = CaptureWriter.create(path, header, on_trouble=self._on_trouble)
        return self._tell(capture)

    def resume_capture(self, path: Path, clock: WallClock = local_now) -> CaptureWriter:
        """Go on with a capture of this job that a crash ended.

        Raises:
            UnreadableError: it is no capture.
        """
        return self._tell(CaptureWriter.resume(path, clock(), on_trouble=self._on_trouble))

    def close(self) -> None:
        """Close the captures still open, seal the log, let go of the job. Safe to call twice."""
        with contextlib.ExitStack() as closing:
            closing.callback(self.log.close)
            for capture in self._captures:
                closing.callback(capture.close)

    def _tell(self, capture: CaptureWriter) -> CaptureWriter:
        capture._file_name = capture.path.relative_to(self.folder).as_posix()
        capture._log = self.log
        self._captures.append(capture)
        self.log.append(CaptureBegan(t=capture.last_t, file=capture._file_name))
        return capture

    def free_path(self, folder_name: str, title: str, ending: str) -> Path:
        """Return the next numbered path in one of the job's folders, which is made if need be."""
        folder = self.folder / folder_name
        try:
            folder.mkdir(exist_ok=True)
            taken = [_number(p) for p in folder.iterdir()]
        except OSError as fault:
            raise CannotWriteError(
                f"{plain(str(folder))} cannot be made: {fault.strerror}"
            ) from fault
        number = max(taken, default=0) + 1
        return folder / f"{number:04d}-{safe_name(title, folder_name.rstrip('s'))}{ending}"


def _number(path: Path) -> int:
    """Return the number that the name of a capture or attachment begins with, 0 for none."""
    digits = path.name.partition("-")[0]
    return int(digits) if digits.isascii() and digits.isdecimal() and len(digits) <= 6 else 0


def _by_number(path: Path) -> tuple[int, str]:
    return _number(path), path.name


def _left_open(job: Job) -> list[Path]:
    """Return the captures that the log says were begun and does not say were closed."""
    still_open: dict[str, None] = {}
    for entry in job.entries():
        match entry.event:
            case CaptureBegan(file=file):
                still_open[file] = None
            case CaptureEnded(file=file):
                still_open.pop(file, None)
    return [p for p in job.captures() if p.relative_to(job.folder).as_posix() in still_open]
