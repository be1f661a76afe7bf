"""The running hash over a file, and the seals that write it down.

A seal says what every byte before it hashes to, earlier seals included, so each one vouches for
the whole file up to itself. It also carries a short mark for every line since the last seal, so
that a check can name the line that was changed instead of a stretch of a hundred.
"""

import hashlib
import zlib
from collections.abc import Iterator
from typing import BinaryIO, Final, NamedTuple

from captures.record.records import Seal

SEAL_EVERY_LINES: Final = 100
"""A writer seals at least this often, so a cut costs the seal of fewer lines than this."""

MARK_DIGITS: Final = 4

_MOST_MARKS: Final = 100_000
"""A file without seals must not fill the memory of whoever checks it."""


_START_OF_SEAL: Final = b'{"kind":"seal"'

_PIECE: Final = 1 << 20
"""Bytes; a line that is longer comes in several pieces."""


class Piece(NamedTuple):
    """A line, or a part of one that is very long or was cut."""

    data: bytes
    whole: bool
    """It is one whole line."""
    is_seal: bool
    """It is a seal's line, by how it begins."""


def pieces(file: BinaryIO) -> Iterator[Piece]:
    """Yield all of a file in bounded memory, in pieces that each end at a line feed or before."""
    starts = True
    while data := file.readline(_PIECE):
        ends = data[-1] == 0x0A
        yield Piece(data, starts and ends, starts and ends and data.startswith(_START_OF_SEAL))
        starts = ends


class Sealer:
    """Follows the bytes of one file. Feed it everything, in order."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()
        self._crc = 0
        self._marks: list[int] = []
        self.lines = 0
        """Whole lines fed."""
        self.bytes = 0
        """Bytes fed."""

    @property
    def lines_since_seal(self) -> int:
        """Whole lines fed since the last seal, which itself counts as one of them."""
        return len(self._marks)

    def feed(self, piece: bytes) -> None:
        """Take a line or a part of one; a line feed may only be its last byte."""
        self._hash.update(piece)
        self.bytes += len(piece)
        self._crc = zlib.crc32(piece, self._crc)
        if piece.endswith(b"\n"):
            self.lines += 1
            if len(self._marks) < _MOST_MARKS:
                self._marks.append(self._crc & 0xFFFF)
            self._crc = 0

    def seal(self, *, final: bool) -> Seal:
        """Return the seal that belongs here."""
        return Seal(
            lines=self.lines,
            bytes=self.bytes,
            sha256=self._hash.hexdigest(),
            marks="".join(f"{mark:0{MARK_DIGITS}x}" for mark in self._marks),
            final=final,
        )

    def feed_seal(self, line: bytes) -> None:
        """Take a seal's own line: marks start anew, and the seal is the first line marked."""
        self._marks.clear()
        self.feed(line)

    def follow(self, piece: Piece) -> None:
        """Take a piece of a file that is there already."""
        if piece.is_seal:
            self._marks.clear()
        self.feed(piece.data)
