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


class _At(msgspec.Struct):
    at: str = ""


_AT: Final = msgspec.json.Decoder(_At)


class JobLog:
    """Writes one job log. Only the job that owns it makes one."""

    def __init__(self, writer: RecordWriter, clock: WallClock) -> None:
        self._writer = writer
        self._clock = clock

    @classmethod
    def create(
        cls,
        path: Path,
        title: str,
        settings: dict[str, object],
        clock: WallClock = local_now,
        on_trouble: OnTrouble | None = None,
    ) -> Self:
        """Begin a log.

        Raises:
            CannotWriteError: the file cannot be made.
        """
        header = Header(
            format=LOG_FORMAT,
            started=rfc3339(clock()),
            program=PROGRAM,
            title=title,
            settings=settings,
        )
        return cls(RecordWriter.create(path, header, on_trouble=on_trouble), clock)

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

    @property
    def trouble(self) -> str:
        """One sentence while nothing can be written, else empty."""
        return self._writer.trouble

    def append(self, event: Event) -> None:
        """Write ``event`` with the wall time of now."""
        line = encode(event).removesuffix(b"}\n")
        stamp = rfc3339(self._clock()).encode()
        self._writer.append_line(line + b',"at":"' + stamp + b'"}\n', event.t)

    def sync(self) -> bool:
        """Put everything on the medium now; return whether that worked."""
        return self._writer.sync()

    def close(self) -> None:
        """Write the final seal and let go. Safe to call twice."""
        self._writer.close()


class LogReader(RecordReader):
    """A job log, read back."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, LOG_FORMAT)

    def entries(self) -> Iterator[LogEntry]:
        """Yield every event with its wall time, oldest first."""
        for line, record in self.lines_and_records():
            if not isinstance(record, Seal | Header | Unknown | Reading):
                yield LogEntry(_read_at(line), record)


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
