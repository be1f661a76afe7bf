"""Checksums that a description can name, and the segments of the digits that it can show."""

from collections.abc import Callable
from functools import cache, reduce
from operator import xor
from typing import Final

from drivers.frames.description import Checksum

SEGMENTS: Final = "abcdefg"

DIGITS: Final[dict[str, tuple[str, ...]]] = {
    "0": ("abcdef",),
    "1": ("bc",),
    "2": ("abdeg",),
    "3": ("abcdg",),
    "4": ("bcfg",),
    "5": ("acdfg",),
    "6": ("acdefg", "cdefg"),
    "7": ("abc", "abcf"),
    "8": ("abcdefg",),
    "9": ("abcdfg", "abcfg"),
}
"""Each digit and how it is drawn, the usual way first."""

LETTERS: Final[dict[str, tuple[str, ...]]] = {
    "L": ("def",),
    "E": ("adefg",),
    "-": ("g",),
}
"""What appears in an overload. The letter O is drawn as 0."""


def drawings(available: str, extra: dict[str, str]) -> dict[frozenset[str], str]:
    """Return each pattern of lit segments and what it shows, for a digit that has ``available``.

    A digit that lacks segments, such as the half digit at the left of a 3 1/2-digit display, shows
    only what needs no more than it has. Nothing lit is a space.
    """
    shapes = {**DIGITS, **LETTERS, **{glyph: (lit,) for glyph, lit in extra.items()}}
    known = {frozenset[str](): " "}
    for glyph, ways in shapes.items():
        for lit in ways:
            if set(lit) <= set(available):
                known.setdefault(frozenset(lit), glyph)
    return known


def total(checksum: Checksum, frame: bytes) -> int:
    """Return the checksum that belongs to ``frame``: 0 to 255, or to 65535 where it has 16 bits."""
    covered = frame[_place(checksum.first, frame) : _place(checksum.last, frame) + 1]
    most = (1 << checksum.bits) - 1
    if checksum.kind == "crc":
        return crc(checksum, covered)
    if checksum.kind == "xor":
        return reduce(xor, covered, checksum.start) & most ^ checksum.final
    added = sum(covered) + checksum.start
    return ((-added if checksum.kind == "negative-sum" else added) & most) ^ checksum.final


def crc(checksum: Checksum, data: bytes) -> int:
    """Return the rest that a cyclic redundancy check leaves of ``data``.

    By the usual parameters: polynomial, start, reflected or not, final exclusive or.
    """
    bits, reflected = checksum.bits, checksum.reflected
    table = _table(checksum.poly or 0, bits, reflected=reflected)
    most, register = (1 << bits) - 1, checksum.start & ((1 << bits) - 1)
    if reflected:
        register = _mirrored(register, bits)
    for byte in data:
        if reflected:
            register = table[(register ^ byte) & 0xFF] ^ (register >> 8)
        else:
            register = table[(register >> (bits - 8) ^ byte) & 0xFF] ^ (register << 8 & most)
    return register ^ checksum.final


@cache
def _table(poly: int, bits: int, *, reflected: bool) -> tuple[int, ...]:
    """What each byte leaves."""
    most, top = (1 << bits) - 1, 1 << (bits - 1)
    found = []
    for byte in range(256):
        register = byte if reflected else byte << (bits - 8)
        for _ in range(8):
            if reflected:
                carry = register & 1
                register = register >> 1 ^ (_mirrored(poly, bits) if carry else 0)
            else:
                carry = register & top
                register = (register << 1 & most) ^ (poly if carry else 0)
        found.append(register)
    return tuple(found)


def _mirrored(value: int, bits: int) -> int:
    return int(f"{value:0{bits}b}"[::-1], 2)


def width(checksum: Checksum) -> int:
    """Return how many bytes of the frame it takes."""
    return checksum.bits // 8 * (2 if checksum.written == "hex" else 1)


def written(checksum: Checksum, frame: bytes) -> bytes:
    """Return the checksum of ``frame`` as it stands in it."""
    value = total(checksum, frame).to_bytes(checksum.bits // 8, checksum.order)
    return value.hex().upper().encode() if checksum.written == "hex" else value


def place(checksum: Checksum, frame: bytes) -> int:
    """Return where it begins in ``frame``."""
    return _place(checksum.at, frame)


def test(checksum: Checksum) -> Callable[[bytes], bool]:
    """Return a function that says whether a frame's checksum holds."""
    wide = width(checksum)

    def holds(frame: bytes) -> bool:
        at = _place(checksum.at, frame)
        return frame[at : at + wide].upper() == written(checksum, frame)

    def holds_byte(frame: bytes) -> bool:
        return frame[checksum.at] == total(checksum, frame)

    def holds_bytes(frame: bytes) -> bool:
        at = _place(checksum.at, frame)
        return frame[at : at + wide] == written(checksum, frame)

    if checksum.written == "hex":
        return holds
    return holds_byte if wide == 1 else holds_bytes


def _place(at: int, frame: bytes) -> int:
    return at if at >= 0 else len(frame) + at
