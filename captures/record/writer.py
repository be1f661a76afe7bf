"""Writing records: append only, sealed as it goes, continued after a crash.

``append`` returns when the system has the record, so nothing that was acknowledged is lost
with the program. What cannot be written is held, and what cannot be held is recorded as a gap
as soon as something can be written again (see ``appending`` for the promise).
"""

from collections import deque
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple, Self

import meterlink
from captures.record.append_file import HOLD_BYTES, AppendFile, OnTrouble, begin_file
from captures.record.reader import RecordReader
from captures.record.records import (
    CAPTURE_FORMAT,
    Header,
    RecordError,
    Seal,
    decode,
    encode,
)
from captures.record.seals import SEAL_EVERY_LINES, Sealer, pieces
from captures.record.times import read_rfc3339
from meterlink.closing import Closing
from meterlink.events import Event, Gap
from meterlink.reading import Reading

PROGRAM: Final = f"meterlink {meterlink.__version__}"

SEAL_EVERY_S: Final = 10.0
"""Seconds of the record's own time after which a seal is due."""

NOT_WRITTEN: Final = "nothing could be written"
STOPPED: Final = "the program stopped before it could close this record"
"""Why of the gaps that a writer puts in by itself; whoever made the record never heard of them."""

_RESERVED: Final = HOLD_BYTES // 4
"""Of the memory that holds what cannot be written, this much is kept for events: a hold or a
verdict is worth more than the thousandth reading."""


class RecordWriter(Closing):
    """Makes one file longer, record by record. Use it in ``with``, or close it."""

    def __init__(self, file: AppendFile, sealer: Sealer) -> None:
        self._file = file
        self._sealer = sealer
        self._sealed_t = 0.0
        self._missing: Gap | None = None
        self.last_t = 0.0
        """``t`` of the newest record."""
        self.seal: Seal | None = None
        """The newest seal; once closed, the final one."""

    @classmethod
    def create(cls, path: Path, header: Header, *, on_trouble: OnTrouble | None = None) -> Self:
        """Begin the file ``path`` with ``header``, which is on the medium when this returns.

        Raises:
            CannotWriteError: it exists already or cannot be made.
        """
        line = encode(header)
        begin_file(path, line)
        writer = cls(AppendFile(path, create=False, on_trouble=on_trouble), Sealer())
        writer._sealer.feed(line)
        return writer

    @classmethod
    def resume(
        cls,
        path: Path,
        now: datetime,
        *,
        expect: str = CAPTURE_FORMAT,
        on_trouble: OnTrouble | None = None,
    ) -> Self:
        """Go on with a file that a crash or a close ended.

        A line that was cut is ended, never removed, and after a crash a gap says for how long
        nothing was recorded. Source times that start anew are to be moved by ``last_t``.

        Raises:
            InUseError: another writer has it.
            UnreadableError: it is no such file.
        """
        file = AppendFile(path, create=False, on_trouble=on_trouble)
        try:
            found = _look_over(path, expect)
        except BaseException:
            file.close()
            raise
        writer = cls(file, found.sealer)
        writer.last_t = writer._sealed_t = found.last_t
        if found.cut:
            file.append(b"\n")
            found.sealer.feed(b"\n")
        if not found.closed:
            passed = (now - read_rfc3339(found.header.started)).total_seconds()
            until = max(found.last_t, passed) if expect == CAPTURE_FORMAT else None
            writer.append(Gap(t=found.last_t, until=until, why=STOPPED))
            writer.last_t = until or found.last_t
        return writer

    @property
    def path(self) -> Path:
        """The file."""
        return self._file.path

    @property
    def trouble(self) -> str:
        """One sentence while nothing can be written, else empty."""
        return self._file.trouble

    def append(self, record: Reading | Event) -> None:
        """Write ``record``; returns when the system has it, or memory holds it."""
        self.append_line(encode(record), record.t, important=not isinstance(record, Reading))

    def append_line(self, line: bytes, t: float, *, important: bool = True) -> None:
        """Write a line made by ``encode``, whose record has the time ``t``."""
        keep_free = 0 if important else _RESERVED
        if self._missing is not None and self._take(encode(self._missing), keep_free):
            self._missing = None
        if not self._take(line, keep_free):
            self._miss(t)
            return
        self.last_t = t
        due = t - self._sealed_t >= SEAL_EVERY_S and self._sealer.lines_since_seal > 1
        if due or self._sealer.lines_since_seal >= SEAL_EVERY_LINES:
            self._seal(final=False)

    def sync(self) -> bool:
        """Put everything on the medium now; return whether that worked."""
        return self._file.sync()

    def close(self) -> None:
        """Write the final seal and let go. Safe to call twice.

        Raises:
            CannotWriteError: something held could still not be written.
        """
        if self.seal is None or not self.seal.final:
            if self._missing is not None and self._take(encode(self._missing), 0):
                self._missing = None
            self._seal(final=True)
        self._file.close()

    def _take(self, line: bytes, keep_free: int) -> bool:
        if not self._file.append(line, keep_free=keep_free):
            return False
        self._sealer.feed(line)
        return True

    def _miss(self, t: float) -> None:
        start = t if self._missing is None else self._missing.t
        self._missing = Gap(t=start, until=t, why=NOT_WRITTEN)

    def _seal(self, *, final: bool) -> None:
        seal = self._sealer.seal(final=final)
        line = encode(seal)
        if self._file.append(line):
            self._sealer.feed_seal(line)
            self._sealed_t = self.last_t
            self.seal = seal


_LONGEST_LOOKED_AT: Final = 65_536
"""Bytes; a line with a time in it is not longer."""


class _Found(NamedTuple):
    """What a file holds that is to be continued."""

    header: Header
    sealer: Sealer
    last_t: float
    cut: bool
    closed: bool


def _look_over(path: Path, expect: str) -> _Found:
    """Read all of a file as its sealer would have, and find where its time stands."""
    with RecordReader(path, expect) as reader:
        header = reader.header
    sealer = Sealer()
    newest: deque[bytes] = deque(maxlen=SEAL_EVERY_LINES)
    cut = False
    with path.open("rb") as file:
        for piece in pieces(file):
            sealer.follow(piece)
            cut = not piece.data.endswith(b"\n")
            newest.append(piece.data if len(piece.data) <= _LONGEST_LOOKED_AT else b"")
    last_t, closed = 0.0, False
    for line in newest:
        try:
            record = decode(line)
        except RecordError:
            closed = False
            continue
        closed = isinstance(record, Seal) and record.final
        if isinstance(record, Reading | Event):
            last_t = record.t
    return _Found(header, sealer, last_t, cut, closed)
