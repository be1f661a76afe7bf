"""A job: one folder with everything about one engine on the bench.

2026-11-03-pump-7-no-spark/
    log.jsonl             what happened, append-only, with the wall time beside it
    captures/0001-primary.jsonl
    attachments/0001-photo.jpg
    report.html

Each line of the log is an event as in a capture, with ``at`` (RFC 3339) added. Its ``t`` counts
from the start of the capture that the last ``capture-began`` names.
"""

import contextlib
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final, NamedTuple, Self

import msgspec

from captures.job.store_list import has_list, put_on_list
from captures.record.append_file import OnTrouble
from captures.record.files import local_now, read_rfc3339, rfc3339, safe_name
from captures.record.reader import RecordReader, read_capture
from captures.record.records import (
    LOG_FORMAT,
    PROGRAM,
    CaptureBegan,
    CaptureEnded,
    Header,
    Unknown,
    encode,
    salted,
)
from captures.record.seals import Seal
from captures.record.signature import own_signer
from captures.record.verify import State, verify
from captures.record.writer import RecordWriter
from meterlink.card import BenchEvent
from meterlink.closing import Closing
from meterlink.errors import CannotWriteError, UnreadableError
from meterlink.events import Event, Gap, Note
from meterlink.quantities.text import plain
from meterlink.reading import Reading
from meterlink.wording import counted

LOG_NAME: Final = "log.jsonl"
CAPTURES_FOLDER: Final = "captures"
ATTACHMENTS_FOLDER: Final = "attachments"

TAKEN_IN: Final = "were in the capture and not in this log, and were taken in from it"
"""What a note says where a log had lost what a capture still held."""


WallClock = Callable[[], datetime]


class LogEntry(NamedTuple):
    """One line of a job log."""

    at: str
    """RFC 3339 wall time; empty where the line has none."""
    event: Event
    line: int = 0
    """Its number in the log, counted from 1."""


class _At(msgspec.Struct):
    at: str = ""


_AT: Final = msgspec.json.Decoder(_At)


class LogReader(RecordReader):
    """A job log, read back."""

    def __init__(self, path: Path) -> None:
        """Open ``path``.

        Raises:
            UnreadableError: missing, no job log, or from a newer program.
        """
        super().__init__(path, LOG_FORMAT)

    def entries(self) -> Iterator[LogEntry]:
        """Yield every event with its wall time, oldest first."""
        for line, record in self.lines_and_records():
            if not isinstance(record, Seal | Header | Unknown | Reading):
                try:
                    at = _AT.decode(line).at
                except (msgspec.DecodeError, UnicodeDecodeError):
                    at = ""
                yield LogEntry(at, record, self.line)


class JobLog(RecordWriter):
    """Writes one job log. Only the job that owns it makes one."""

    clock: WallClock = staticmethod(local_now)

    def append(self, record: Reading | Event, at: datetime | None = None) -> None:
        """Write an event with the wall time at which it happened: now, unless ``at`` says when."""
        line = encode(record).removesuffix(b"}\n")
        line += b',"at":"' + rfc3339(at or self.clock()).encode() + b'"}\n'
        self.append_event(salted(line, record), record)


def first_line(title: str, settings: dict[str, object], clock: WallClock = local_now) -> bytes:
    """Return the line that a log begins with."""
    header = Header(
        format=LOG_FORMAT,
        started=rfc3339(clock()),
        program=PROGRAM,
        title=title,
        settings=settings,
    )
    return salted(encode(header), header)


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

    private = True
    _closed: "Callable[[CaptureWriter], None] | None" = None
    _file_name = ""

    def close(self) -> None:
        """Write the final seal, here and into the job log. Safe to call twice."""
        closed, self._closed = self._closed, None
        try:
            super().close()
        finally:
            if closed is not None:
                closed(self)


class JobWriter(Closing):
    """A job that is being worked on. One program at a time; use it in ``with``, or close it."""

    def __init__(self, job: Job, log: JobLog, on_trouble: OnTrouble | None = None) -> None:
        self.job = job
        self.log = log
        self._on_trouble = on_trouble
        self._captures: list[CaptureWriter] = []
        """Those that are open; a job of two hundred cards does not hold on to the others."""
        self._sealed: dict[str, Seal] = {}
        """The final seals of the others, by file."""
        self._trouble = ""
        """What the newest of them had, if any did."""
        self._listed = False
        self._sign = own_signer()
        log.sign = self._sign

    @classmethod
    def resume(
        cls, job: Job, *, clock: WallClock = local_now, on_trouble: OnTrouble | None = None
    ) -> Self:
        """Go on with a job that was closed or that a crash ended.

        Captures that a crash left open, and those that the log knows nothing of yet, are continued,
        so far as to say in a gap until when nothing was recorded, and closed: what they hold is
        under a seal from then on, and in the log. One that was altered is left alone.

        Raises:
            InUseError: another program works on it.
            UnreadableError: its log cannot be read.
        """
        log = JobLog.resume(job.log_path, clock(), expect=LOG_FORMAT, on_trouble=on_trouble)
        log.clock = clock
        writer = cls(job, log, on_trouble)
        for path, logged in _left_open(job):
            with contextlib.suppress(UnreadableError, CannotWriteError):  # checking a job names it
                if verify(path, thorough=False).state is not State.ALTERED:
                    writer.take_in(path, logged, clock)
        return writer

    def take_in(self, path: Path, logged: "Logged | None", clock: WallClock = local_now) -> None:
        """Close a capture, and bring into the log what the capture holds and the log does not.

        ``logged`` is what the log says of it; None where it does not name it.

        Raises:
            UnreadableError: it is no capture.
        """
        with read_capture(path) as capture:
            began = read_rfc3339(capture.header.started)
            found = [record for record in capture if isinstance(record, Event)]
        events = [event for event in found if is_logged(event)]
        missing = events[0 if logged is None else logged.events :]
        writer = CaptureWriter.resume(path, clock(), on_trouble=self._on_trouble)
        self._tell(writer)
        for event in missing:
            self.log.append(event, began + timedelta(seconds=event.t))
        if missing:
            what = f"{counted(len(missing), 'event')} of {writer._file_name} {TAKEN_IN}"
            self.log.append(Note(t=writer.last_t, text=what, who=PROGRAM))
        writer.close()

    @property
    def folder(self) -> Path:
        """The job's folder."""
        return self.job.folder

    @property
    def trouble(self) -> str:
        """One sentence while log or captures cannot be written, else empty."""
        told = (self.log.trouble, *(capture.trouble for capture in self._captures), self._trouble)
        return next(filter(None, told), "")

    def new_capture(self, header: Header) -> CaptureWriter:
        """Begin a capture in the job's folder and say so in the log.

        Its name is a number and the header's step (or card).

        Raises:
            CannotWriteError: the file cannot be made.
        """
        path = self.free_path(CAPTURES_FOLDER, header.step or header.card, ".jsonl")
        capture = CaptureWriter.create(path, header, on_trouble=self._on_trouble)
        return self._tell(capture)

    def close(self) -> None:
        """Close the captures still open, seal the log, let go of the job. Safe to call twice.

        Where the store keeps a running list, the final seals are put on it.
        """
        with contextlib.ExitStack() as closing:
            closing.callback(self._put_on_list)
            closing.callback(self.log.close)
            for capture in [*self._captures]:
                closing.callback(capture.close)

    def _put_on_list(self) -> None:
        if self._listed or not has_list(self.folder.parent):
            return
        self._listed = True
        seals = [
            (file, seal.lines, seal.sha256)
            for file, seal in (*self._sealed.items(), (LOG_NAME, self.log.seal))
            if seal is not None and seal.final
        ]
        with contextlib.suppress(CannotWriteError, UnreadableError):  # mending a store does it then
            put_on_list(self.folder.parent, self.job.log_path, seals)

    def _tell(self, capture: CaptureWriter) -> CaptureWriter:
        capture._file_name = capture.path.relative_to(self.folder).as_posix()
        capture._closed = self._end
        capture.sign = self._sign
        self._captures.append(capture)
        self.log.append(CaptureBegan(t=capture.last_t, file=capture._file_name))
        return capture

    def _end(self, capture: CaptureWriter) -> None:
        """Tell the log of the end of a capture, and let go of it."""
        self._captures.remove(capture)
        self._trouble = capture.trouble or self._trouble
        file, seal = capture._file_name, capture.seal
        if seal is not None:
            self._sealed[file] = seal
            ended = CaptureEnded(t=capture.last_t, file=file, lines=seal.lines, sha256=seal.sha256)
            self.log.append(ended)

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


def is_logged(record: object) -> bool:
    """Whether a record of a capture stands in the job log too; the writer's own gaps do not."""
    return isinstance(record, BenchEvent) and not isinstance(record, Gap)


class Logged:
    """What a job log says of one capture."""

    def __init__(self) -> None:
        self.ended: CaptureEnded | None = None
        """Its end, as told last."""
        self.again = False
        """It was begun, or taken up again, since it last ended."""
        self.events = 0
        """So many of its events stand in the log."""


class LoggedCaptures:
    """What a job log says of its captures. Give it all events, in order."""

    def __init__(self) -> None:
        self.by_file: dict[str, Logged] = {}
        self._newest = Logged()

    def take(self, event: Event) -> None:
        """Take the next event of the log."""
        match event:
            case CaptureBegan(file=file):
                self._newest = self.by_file.setdefault(file, Logged())
                self._newest.again = True
            case CaptureEnded(file=file):
                logged = self.by_file.setdefault(file, Logged())
                logged.ended, logged.again = event, False
            case Note(text=text, who=who) if who == PROGRAM and text.endswith(TAKEN_IN):
                pass  # the one thing that this program says of a capture and not in it
            case _:
                self._newest.events += is_logged(event)


def _left_open(job: Job) -> list[tuple[Path, Logged | None]]:
    """Return the captures whose end the log does not tell; None for one that it does not name."""
    captures = LoggedCaptures()
    for entry in job.entries():
        captures.take(entry.event)
    found = []
    for path in job.captures():
        logged = captures.by_file.get(path.relative_to(job.folder).as_posix())
        if logged is None or logged.again:
            found.append((path, logged))
    return found
