"""Checksums that a description can name, and the segments of the digits that it can show."""

from collections.abc import Callable, Iterator, Sequence
from functools import cache, reduce
from operator import xor
from typing import Any, Final, Literal

import msgspec

from drivers.frames.description import Checksum


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


_SUMS: Final[tuple[Literal["sum", "xor", "negative-sum"], ...]] = ("sum", "xor", "negative-sum")


_ORDERS: Final[tuple[Literal["little", "big"], ...]] = ("little", "big")


_CRCS: Final[tuple[tuple[Literal[8, 16], int, int, bool, int], ...]] = (
    (16, 0x8005, 0xFFFF, True, 0),
    (16, 0x1021, 0xFFFF, False, 0),
    (16, 0x1021, 0, False, 0),
    (16, 0x8005, 0, True, 0),
    (16, 0x1021, 0xFFFF, True, 0xFFFF),
    (8, 0x07, 0, False, 0),
    (8, 0x31, 0, True, 0),
)
"""Width, polynomial, start, reflected, final: those that are met most."""


def find(frames: Sequence[bytes], taken: int = 0, *, tail: int | None = None) -> Checksum | None:
    """Return a checksum of one or two bytes near the end that holds in all ``frames``.

    Args:
        frames: sound ones, all of one length where ``tail`` is None.
        taken: the bits of a frame, as one number, that are something else.
        tail: how many bytes that are always the same follow the checksum; counted from the end.

    Returns:
        None where there is no checksum, or too few different frames to tell.
    """
    length, distinct = min(map(len, frames)), set(frames)
    if len(distinct) < 3:
        return None
    places = range(length - 1, max(1, length - 5), -1) if tail is None else (-1 - tail,)
    for at in places:
        if len({frame[at] for frame in distinct}) < 2:
            continue
        if at >= 0 and taken >> 8 * (length - 1 - at) & 0xFF:
            continue
        for first in (0, 1, 2):
            for kind in _checksums_at(at, first, length):
                found = _begun(kind, next(iter(distinct)))
                if all(map(test(found), distinct)):
                    return found
    return None


def _begun(checksum: Checksum, frame: bytes) -> Checksum:
    """Return ``checksum`` begun with what makes it hold in ``frame``; a CRC as it is."""
    if checksum.kind == "crc":
        return checksum
    told, made = frame[checksum.at], total(checksum, frame)
    start = told ^ made if checksum.kind == "xor" else told - made
    start = -start if checksum.kind == "negative-sum" else start
    return msgspec.structs.replace(checksum, start=start & 0xFF)


def as_table(checksum: Checksum) -> dict[str, Any]:
    """Return ``[frame.checksum]`` as a description says it, without what goes without saying."""
    default = msgspec.to_builtins(Checksum(kind="sum", first=0, last=0, at=0))
    told = msgspec.to_builtins(checksum)
    always = ("kind", "first", "last", "at")
    return {name: told[name] for name in told if name in always or told[name] != default[name]}


def _checksums_at(at: int, first: int, length: int) -> Iterator[Checksum]:
    if first >= at % length:
        return
    for kind in _SUMS:
        yield Checksum(kind=kind, first=first, last=at - 1, at=at)
    for bits, poly, start, reflected, final in _CRCS:
        begins = at - bits // 8 + 1
        if begins % length <= first:
            continue
        for order in _ORDERS:
            yield Checksum(
                kind="crc", first=first, last=begins - 1, at=begins, bits=bits, poly=poly,
                start=start, reflected=reflected, final=final, order=order,
            )  # fmt: skip
