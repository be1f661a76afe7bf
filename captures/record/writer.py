"""Writing records: append only, sealed as it goes, continued after a crash.

``append`` returns when the system has the record, so nothing that was acknowledged is lost
with the program. What cannot be written is held, and what cannot be held is recorded as a gap
as soon as something can be written again (see ``append_file`` for the promise).
"""

import threading
from collections import deque
from collections.abc import Callable
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import ClassVar, Final, NamedTuple, Self

from captures.record.append_file import HOLD_BYTES, AppendFile, OnTrouble
from captures.record.files import begin_file, open_regular, read_rfc3339
from captures.record.records import (
    CAPTURE_FORMAT,
    Header,
    RecordError,
    decode,
    encode,
    read_header,
    salted,
)
from captures.record.seals import END_OF_SALT, SEAL_EVERY_LINES, Seal, Sealer, as_sealed, stretches
from meterlink.closing import Closing
from meterlink.events import CardEnded, Event, Gap, Judged, StepEnded
from meterlink.quantities.text import plain
from meterlink.reading import Reading

SEAL_EVERY_S: Final = 10.0
"""Seconds of the record's own time after which a seal is due."""

SEALED_AT_ONCE: Final = (Judged, StepEnded, CardEnded)
"""A seal follows these: what a person was told counts is not left in an unsealed tail."""

NOT_WRITTEN: Final = "nothing could be written"
STOPPED: Final = "the program stopped before it could close this record"
"""Why of the gaps that a writer puts in by itself; whoever made the record never heard of them."""

_RESERVED: Final = HOLD_BYTES // 4
"""Of the memory that holds what cannot be written, this much is kept for events: a hold or a
verdict is worth more than the thousandth reading."""


class RecordWriter(Closing):
    """Makes one file longer, record by record. Use it in ``with``, or close it.

    Safe to use from several threads. The final seal is the last thing that is written: what comes
    once closing has begun is not taken.
    """

    private: ClassVar[bool] = False
    """Names and notes are written so that they can be struck, as a job's records are."""

    def __init__(self, file: AppendFile, sealer: Sealer) -> None:
        self._file = file
        self._sealer = sealer
        self._sealed_t = 0.0
        self._missing: Gap | None = None
        self._turn = threading.RLock()
        self._closing = False
        self.sign: Callable[[Seal], Seal] | None = None
        """Signs the final seal, where the bench has a key."""
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
        if cls.private:
            line = salted(line, header)
        begin_file(path, line)
        return cls.take_up(path, line, on_trouble=on_trouble)

    @classmethod
    def take_up(cls, path: Path, line: bytes, *, on_trouble: OnTrouble | None = None) -> Self:
        """Write on in the file ``path`` that was begun just now with ``line``, its header.

        Raises:
            CannotWriteError: it cannot be opened for writing.
        """
        writer = cls(AppendFile(path, create=False, on_trouble=on_trouble), Sealer())
        writer._sealer.feed(as_sealed(line))
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
        nothing was recorded, or that nobody knows for how long, where the clock was set back.
        Source times that start again are to be moved by ``last_t``.

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
            found.sealer.feed(as_sealed(found.cut + b"\n"))
        if found.final is not None:
            writer.seal = found.final
        else:
            passed = (now - read_rfc3339(found.header.started)).total_seconds()
            known = expect == CAPTURE_FORMAT and passed > found.last_t
            until = passed if known else None
            gap = Gap(t=found.last_t, until=until, why=STOPPED)
            writer.append_event(encode(gap), gap)
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
        """Write ``record``; returns when the system has it, or memory holds it.

        Once closing has begun nothing is taken any more.
        """
        line = encode(record)
        if isinstance(record, Reading):
            with self._turn:
                if not self._closing:
                    self._append(line, record.t, important=False)
        else:
            self.append_event(salted(line, record) if self.private else line, record)

    def append_event(self, line: bytes, event: Reading | Event) -> None:
        """Write the line that was made of ``event``; else as ``append``."""
        with self._turn:
            if not self._closing:
                self._append(line, event.t, important=True)
                if isinstance(event, SEALED_AT_ONCE) and self._sealer.lines_since_seal > 1:
                    self._seal(final=False)

    def _append(self, line: bytes, t: float, *, important: bool) -> None:
        keep_free = 0 if important else _RESERVED
        if self._missing is not None and self._take(encode(self._missing), keep_free):
            self._missing = None
        if not self._file.append(line, keep_free=keep_free):
            self._miss(t)
            return
        sealer = self._sealer
        sealer.feed(as_sealed(line) if line.endswith(END_OF_SALT) else line)
        self.last_t = t
        since = sealer.lines_since_seal
        if since >= SEAL_EVERY_LINES or (t - self._sealed_t >= SEAL_EVERY_S and since > 1):
            self._seal(final=False)

    def sync(self) -> bool:
        """Put everything on the medium now; return whether that worked."""
        return self._file.sync()

    def close(self) -> None:
        """Write the final seal and let go. Safe to call twice.

        Raises:
            CannotWriteError: something held could still not be written.
        """
        with self._turn:
            if not self._closing and not self._is_sealed:
                if self._missing is not None and self._take(encode(self._missing), 0):
                    self._missing = None
                self._seal(final=True)
            self._closing = True
        self._file.close()

    @property
    def _is_sealed(self) -> bool:
        """Whether the newest line is a final seal."""
        final = self.seal is not None and self.seal.final
        return final and self._sealer.lines_since_seal == 1 and self._missing is None

    def _take(self, line: bytes, keep_free: int) -> bool:
        if not self._file.append(line, keep_free=keep_free):
            return False
        self._sealer.feed(as_sealed(line))
        return True

    def _miss(self, t: float) -> None:
        start = t if self._missing is None else self._missing.t
        self._missing = Gap(t=start, until=t, why=NOT_WRITTEN)

    def _seal(self, *, final: bool) -> None:
        seal = self._sealer.seal(final=final)
        if final and self.sign is not None:
            seal = self.sign(seal)
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
    cut: bytes
    """What is there of a last line that was cut; the sealer does not know it yet."""
    final: Seal | None
    """The final seal, where that is the last line."""


def _look_over(path: Path, expect: str) -> _Found:
    """Read all of a file as its sealer would have, and find where its time stands."""
    with open_regular(path) as file:
        header = read_header(file, plain(str(path)), expect)
    sealer = Sealer()
    newest: deque[bytes] = deque(maxlen=SEAL_EVERY_LINES)
    cut = b""
    with path.open("rb") as file:
        for stretch in stretches(file):
            if cut:
                sealer.feed(cut)
            cut = b"" if stretch.data.endswith(b"\n") else stretch.data
            if not cut:
                sealer.follow(stretch)
            for line in BytesIO(stretch.data):
                newest.append(line if len(line) <= _LONGEST_LOOKED_AT else b"")
    last_t, final = 0.0, None
    for line in newest:
        try:
            record = decode(line)
        except RecordError:
            final = None
            continue
        final = record if isinstance(record, Seal) and record.final else None
        if isinstance(record, Reading | Event):
            last_t = record.t
    return _Found(header, sealer, last_t, cut, None if cut else final)
