"""The running hash over a file, and the seals that write it down.

A seal says what every byte before it hashes to, earlier seals included, so each one vouches for
the whole file up to itself. It also carries a short mark for every line since the last seal, so
that a check can name the line that was changed instead of a stretch of a hundred.
"""

import hashlib
import re
import struct
from collections.abc import Iterator
from copy import copy
from io import BytesIO
from typing import BinaryIO, Final, NamedTuple
from zlib import crc32

import msgspec

LONGEST_LINE: Final = 4 << 20
"""Bytes, line feed included. A longer line is damage: a header with the largest card and profile
is well below it, and no other record comes near."""

SEAL_EVERY_LINES: Final = 100
"""A writer seals at least this often, so a cut costs the seal of fewer lines than this."""

MARK_DIGITS: Final = 4

MOST_MARKS: Final = 100_000
_MOST_HELD: Final = 2 << 20
"""Bytes. A file without seals must not fill the memory of whoever checks it."""


START_OF_SEAL: Final = b'{"kind":"seal"'
_NEXT_SEAL: Final = b"\n" + START_OF_SEAL

_BLOCK: Final = 1 << 20
"""Bytes read at a time."""


class Seal(
    msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, tag_field="kind", tag="seal"
):
    """What all bytes of the file before this line hash to.

    All keys are always written, but for the last two, which only a final seal can have.
    """

    lines: int
    """Lines before this one."""
    bytes: int
    """Bytes before this one."""
    sha256: str
    """SHA-256 of those bytes, lower-case hexadecimal."""
    marks: str
    """Four hexadecimal digits for each line since the last seal: the low 16 bits of its CRC-32."""
    final: bool
    """The file was closed here."""
    key: str = ""
    """Public Ed25519 key of the bench that closed the file, 64 hexadecimal digits."""
    signature: str = ""
    """Its signature, 128 hexadecimal digits."""


class FilePart(NamedTuple):
    """Some bytes of a file: whole lines, one seal, or a part of a line."""

    data: bytes
    whole: bool
    """It is made of whole lines; else it is a part of one that is too long or was cut."""
    is_seal: bool
    """It is one seal's line, by how it begins."""


def stretches(file: BinaryIO) -> Iterator[FilePart]:
    """Yield all of a file in bounded memory: each seal by itself, what is between in long runs."""
    rest, inside = b"", False
    while block := file.read(_BLOCK):
        data = rest + block if rest else block
        rest = b""
        if inside:
            end = data.find(b"\n") + 1
            yield FilePart(data[: end or len(data)], False, False)
            if not end:
                continue
            data, inside = data[end:], False
        end = data.rfind(b"\n") + 1
        yield from _apart(data[:end])
        rest = data[end:]
        if len(rest) >= LONGEST_LINE:
            yield FilePart(rest, False, False)
            rest, inside = b"", True
    if rest:
        yield FilePart(rest, False, False)


def _apart(data: bytes) -> Iterator[FilePart]:
    """Yield the whole lines of ``data``, each seal by itself."""
    start = 0
    while start < len(data):
        is_seal = data.startswith(START_OF_SEAL, start)
        end = data.find(b"\n" if is_seal else _NEXT_SEAL, start) + 1 or len(data)
        yield FilePart(data[start:end], True, is_seal)
        start = end


class Sealer:
    """Follows the bytes of one file. Feed it everything, in order.

    Lines are hashed many at a time, and marked only where a seal is to be made or was found bad:
    both are quicker so, and a line costs its writer next to nothing.
    """

    def __init__(self) -> None:
        self._hash = hashlib.sha256()
        self._crc = 0
        """Of a line that is half fed and no longer held."""
        self._marks: list[int] = []
        self._held: list[bytes] = []
        """Fed and not marked yet."""
        self._hashed = 0
        """So many of them are hashed."""
        self._held_bytes = 0
        self.lines = 0
        """Whole lines fed."""
        self.bytes = 0
        """Bytes fed."""
        self.lines_since_seal = 0
        """Whole lines fed since the last seal, which itself counts as one of them."""

    def feed(self, piece: bytes) -> None:
        """Take a line or a part of one; a line feed may only be its last byte."""
        self._held.append(piece)
        length = len(piece)
        self.bytes += length
        self._held_bytes += length
        if piece.endswith(b"\n"):
            self.lines += 1
            self.lines_since_seal += 1
        if self._held_bytes > _MOST_HELD:
            self._mark()

    def feed_lines(self, lines: bytes) -> None:
        """Take any number of whole lines."""
        more = lines.count(b"\n") - 1
        self.lines += more
        self.lines_since_seal += more
        self.feed(lines)

    @property
    def sha256(self) -> str:
        """Hash of everything fed, lower-case hexadecimal."""
        self._hash.update(b"".join(self._held[self._hashed :]))
        self._hashed = len(self._held)
        return self._hash.hexdigest()

    @property
    def marks(self) -> str:
        """The marks of the lines since the last seal, as a seal writes them."""
        self._mark()
        return struct.pack(f">{len(self._marks)}H", *self._marks).hex()

    def _mark(self) -> None:
        """Mark what is held, and let go of it."""
        held = b"".join(self._held)
        self._hash.update(held if not self._hashed else b"".join(self._held[self._hashed :]))
        self._held, self._hashed, self._held_bytes = [], 0, 0
        half = held.rpartition(b"\n")[2]
        marks = [crc32(line) & 0xFFFF for line in BytesIO(held[: len(held) - len(half)])]
        if self._crc and marks:
            marks[0] = crc32(held[: held.index(b"\n") + 1], self._crc) & 0xFFFF
            self._crc = 0
        self._crc = crc32(half, self._crc)
        self._marks += marks[: MOST_MARKS - len(self._marks)]

    def copy(self) -> "Sealer":
        """Return one that has been fed the same, to go on by itself."""
        other = copy(self)
        other._hash, other._marks, other._held = self._hash.copy(), [*self._marks], [*self._held]
        return other

    def seal(self, *, final: bool) -> Seal:
        """Return the seal that belongs here."""
        marks = self.marks
        return Seal(
            lines=self.lines, bytes=self.bytes, sha256=self.sha256, marks=marks, final=final
        )

    def feed_seal(self, line: bytes) -> None:
        """Take a seal's own line: marks start again, and the seal is the first line marked."""
        self._hash.update(b"".join(self._held[self._hashed :]))
        self._held, self._hashed, self._held_bytes = [], 0, 0
        self._marks, self._crc, self.lines_since_seal = [], 0, 0
        self.feed(line)

    def follow(self, stretch: FilePart) -> None:
        """Take a stretch of a file that is there already."""
        if stretch.is_seal:
            self.feed_seal(stretch.data)
        elif stretch.whole:
            self.feed_lines(lines_as_sealed(stretch.data))
        else:
            self.feed(stretch.data)


END_OF_SALT: Final = b'"}\n'
"""How a line with a salt ends, as do some without one."""
_SALT: Final = re.compile(rb',"salt":"([0-9a-f]{32})"\}\n\Z')
_LONGEST_SALT: Final = 64
_STRING: Final = rb'"((?:[^"\\]|\\.)*)"'
_TITLE: Final = re.compile(rb'"(title)":' + _STRING)
_TEXTS: Final = re.compile(rb'"(text|name|note)":' + _STRING)
_HEADER: Final = b'{"kind":"header"'
_PREFIX: Final = b"struck:"


def as_sealed(line: bytes) -> bytes:
    """Return a line as it is sealed, which is as it stands once its texts are struck."""
    if not line.endswith(END_OF_SALT):
        return line
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
