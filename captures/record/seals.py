"""The running hash over a file, and the seals that write it down.

A seal says what every byte before it hashes to, earlier seals included, so each one vouches for
the whole file up to itself. It also carries a short mark for every line since the last seal, so
that a check can name the line that was changed instead of a stretch of a hundred.
"""

import hashlib
import re
import secrets
import struct
from collections.abc import Iterator
from io import BytesIO
from typing import BinaryIO, Final, NamedTuple
from zlib import crc32

import msgspec

from captures.record.records import LONGEST_LINE, Attached, Header, Seal
from meterlink.commands import Enter
from meterlink.events import CommandReceived, Entered, Note

SEAL_EVERY_LINES: Final = 100
"""A writer seals at least this often, so a cut costs the seal of fewer lines than this."""

MARK_DIGITS: Final = 4

_MOST_MARKS: Final = 100_000
"""A file without seals must not fill the memory of whoever checks it."""


START_OF_SEAL: Final = b'{"kind":"seal"'
_NEXT_SEAL: Final = b"\n" + START_OF_SEAL

_BLOCK: Final = 1 << 20
"""Bytes read at a time."""


class Stretch(NamedTuple):
    """Some bytes of a file: whole lines, one seal, or a part of a line."""

    data: bytes
    whole: bool
    """It is made of whole lines; else it is a part of one that is too long or was cut."""
    is_seal: bool
    """It is one seal's line, by how it begins."""


def stretches(file: BinaryIO) -> Iterator[Stretch]:
    """Yield all of a file in bounded memory: each seal by itself, what is between in long runs."""
    rest, inside = b"", False
    while block := file.read(_BLOCK):
        data = rest + block if rest else block
        rest = b""
        if inside:
            end = data.find(b"\n") + 1
            yield Stretch(data[: end or len(data)], False, False)
            if not end:
                continue
            data, inside = data[end:], False
        end = data.rfind(b"\n") + 1
        yield from _apart(data[:end])
        rest = data[end:]
        if len(rest) >= LONGEST_LINE:
            yield Stretch(rest, False, False)
            rest, inside = b"", True
    if rest:
        yield Stretch(rest, False, False)


def _apart(data: bytes) -> Iterator[Stretch]:
    """Yield the whole lines of ``data``, each seal by itself."""
    start = 0
    while start < len(data):
        is_seal = data.startswith(START_OF_SEAL, start)
        end = data.find(b"\n" if is_seal else _NEXT_SEAL, start) + 1 or len(data)
        yield Stretch(data[start:end], True, is_seal)
        start = end


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
        self._crc = crc32(piece, self._crc)
        if piece.endswith(b"\n"):
            self.lines += 1
            if len(self._marks) < _MOST_MARKS:
                self._marks.append(self._crc & 0xFFFF)
            self._crc = 0

    def feed_lines(self, lines: bytes) -> None:
        """Take any number of whole lines, where no line is half fed."""
        self._hash.update(lines)
        self.bytes += len(lines)
        marks = [crc32(line) & 0xFFFF for line in BytesIO(lines)]
        self.lines += len(marks)
        self._marks += marks[: _MOST_MARKS - len(self._marks)]

    def copy(self) -> "Sealer":
        """Return one that has been fed the same, to go on by itself."""
        other = Sealer()
        other._hash, other._crc, other._marks = self._hash.copy(), self._crc, self._marks.copy()
        other.lines, other.bytes = self.lines, self.bytes
        return other

    def seal(self, *, final: bool) -> Seal:
        """Return the seal that belongs here."""
        return Seal(
            lines=self.lines,
            bytes=self.bytes,
            sha256=self._hash.hexdigest(),
            marks=struct.pack(f">{len(self._marks)}H", *self._marks).hex(),
            final=final,
        )

    def feed_seal(self, line: bytes) -> None:
        """Take a seal's own line: marks start anew, and the seal is the first line marked."""
        self._marks.clear()
        self.feed(line)

    def follow(self, stretch: Stretch) -> None:
        """Take a stretch of a file that is there already."""
        if stretch.is_seal:
            self.feed_seal(stretch.data)
        elif stretch.whole:
            self.feed_lines(lines_as_sealed(stretch.data))
        else:
            self.feed(stretch.data)


_SALT: Final = re.compile(rb',"salt":"([0-9a-f]{32})"\}\n\Z')
_SALT_BYTES: Final = 16
_LONGEST_SALT: Final = 64
_STRING: Final = rb'"((?:[^"\\]|\\.)*)"'
_TITLE: Final = re.compile(rb'"(title)":' + _STRING)
_TEXTS: Final = re.compile(rb'"(text|name|note)":' + _STRING)
_HEADER: Final = b'{"kind":"header"'
_PREFIX: Final = b"struck:"


def salted(line: bytes, record: object) -> bytes:
    """Return the line of ``record`` with a salt at its end, where it holds a text to be struck."""
    match record:
        case Header(title=title) if title:
            pass
        case Note() | Attached() | Entered(value=None) | CommandReceived(command=Enter()):
            pass
        case _:
            return line
    salt = secrets.token_hex(_SALT_BYTES).encode()
    return line.removesuffix(b"}\n") + b',"salt":"' + salt + b'"}\n'


def as_sealed(line: bytes) -> bytes:
    """Return a line as it is sealed, which is as it stands once its texts are struck."""
    found = _SALT.search(line, max(0, len(line) - _LONGEST_SALT))
    if found is None:
        return line
    salt = found[1]

    def digest(text: re.Match[bytes]) -> bytes:
        hashed = hashlib.sha256(b":".join((salt, text[1], text[2]))).hexdigest()
        return b'"' + text[1] + b'":"' + _PREFIX + hashed.encode() + b'"'

    body = line[: found.start()] + b"}\n"
    if line.startswith(_HEADER):
        return _TITLE.sub(digest, body, count=1)
    return _TEXTS.sub(digest, body)


def lines_as_sealed(lines: bytes) -> bytes:
    """Return whole lines as they are sealed."""
    if b',"salt":"' not in lines:
        return lines
    return b"".join(as_sealed(line) for line in BytesIO(lines))


def texts_of(line: bytes) -> Iterator[str]:
    """Yield the texts of a line that can be struck."""
    if _SALT.search(line, max(0, len(line) - _LONGEST_SALT)) is None:
        return
    found = [_TITLE.search(line)] if line.startswith(_HEADER) else _TEXTS.finditer(line)
    for text in found:
        if text is not None:
            yield msgspec.json.decode(b'"' + text[2] + b'"', type=str)
