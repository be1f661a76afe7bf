"""Checksums that a description can name."""

from collections.abc import Callable
from functools import reduce
from operator import xor

from drivers.frames.description import Checksum


def total(checksum: Checksum, frame: bytes) -> int:
    """Return the checksum that belongs to ``frame``, 0 to 255."""
    covered = frame[checksum.first : checksum.last + 1]
    if checksum.kind == "xor":
        return reduce(xor, covered, checksum.start)
    added = sum(covered) + checksum.start
    return (-added if checksum.kind == "negative-sum" else added) & 0xFF


def written(checksum: Checksum, frame: bytes) -> bytes:
    """Return the checksum of ``frame`` as it stands in it."""
    value = total(checksum, frame)
    return b"%02X" % value if checksum.written == "hex" else bytes([value])


def test(checksum: Checksum) -> Callable[[bytes], bool]:
    """Return a function that says whether a frame's checksum holds."""
    at = checksum.at
    end = at + (2 if checksum.written == "hex" else 1)

    def holds(frame: bytes) -> bool:
        return frame[at:end].upper() == written(checksum, frame)

    def holds_byte(frame: bytes) -> bool:
        return frame[at] == total(checksum, frame)

    return holds if checksum.written == "hex" else holds_byte
