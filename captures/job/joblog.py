"""The job log: every event of a job as it happened, with the wall time beside it.

Each line is an event as in a capture, with ``at`` (RFC 3339) added. Its ``t`` counts from the
start of the capture that the last ``capture-began`` names.
"""

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple, Self

import msgspec

from captures.record.append_file import OnTrouble
from captures.record.reader import RecordReader
from captures.record.records import LOG_FORMAT, Header, Seal, Unknown, encode
from captures.record.seals import salted
from captures.record.times import local_now, rfc3339
from captures.record.writer import PROGRAM, RecordWriter
from meterlink.events import Event
from meterlink.reading import Reading

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


class JobLog:
    """Writes one job log. Only the job that owns it makes one."""

    def __init__(self, writer: RecordWriter, clock: WallClock) -> None:
        self._writer = writer
        self._clock = clock

    @classmethod
    def take_up(
        cls,
        path: Path,
        line: bytes,
        clock: WallClock = local_now,
        on_trouble: OnTrouble | None = None,
    ) -> Self:
        """Write on in a log that was begun just now with ``line``.

        Raises:
            CannotWriteError: it cannot be opened for writing.
        """
        return cls(RecordWriter.take_up(path, line, on_trouble=on_trouble), clock)

    @classmethod
    def resume(
        cls, path: Path, clock: WallClock = local_now, on_trouble: OnTrouble | None = None
    ) -> Self:
        """Go on with a log.

        Raises:
            InUseError: another program works on this job.
            UnreadableError: it is no job log.
        """
        writer = RecordWriter.resume(path, clock(), expect=LOG_FORMAT, on_trouble=on_trouble)
        return cls(writer, clock)

    def sign_with(self, sign: Callable[[Seal], Seal] | None) -> None:
        """Have the final seal signed by ``sign``."""
        self._writer.sign = sign

    @property
    def seal(self) -> Seal | None:
        """The newest seal; once closed, the final one."""
        return self._writer.seal

    @property
    def trouble(self) -> str:
        """One sentence while nothing can be written, else empty."""
        return self._writer.trouble

    def append(self, event: Event, at: datetime | None = None) -> None:
        """Write ``event`` with the wall time at which it happened: now, unless ``at`` says when."""
        line = encode(event).removesuffix(b"}\n")
        stamp = rfc3339(at or self._clock()).encode()
        line += b',"at":"' + stamp + b'"}\n'
        self._writer.append_line(salted(line, event), event.t)

    def sync(self) -> bool:
        """Put everything on the medium now; return whether that worked."""
        return self._writer.sync()

    def close(self) -> None:
        """Write the final seal and let go. Safe to call twice."""
        self._writer.close()


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


class LogReader(RecordReader):
    """A job log, read back."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, LOG_FORMAT)

    def entries(self) -> Iterator[LogEntry]:
        """Yield every event with its wall time, oldest first."""
        for line, record in self.lines_and_records():
            if not isinstance(record, Seal | Header | Unknown | Reading):
                yield LogEntry(_read_at(line), record, self.line)


def read_log(path: Path) -> LogReader:
    """Open a job log.

    Raises:
        UnreadableError: missing, no job log, or from a newer program.
    """
    return LogReader(path)


def _read_at(line: bytes) -> str:
    try:
        return _AT.decode(line).at
    except (msgspec.DecodeError, UnicodeDecodeError):
        return ""
