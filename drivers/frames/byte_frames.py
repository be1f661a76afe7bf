"""Reads a byte frame: one mask and one table for each part, put together beforehand."""

from collections.abc import Callable, Hashable
from math import inf
from typing import Generic, TypeVar

from drivers.frames import checksums
from drivers.frames.description import BytesFrame, Description
from drivers.frames.frame import Frame, Status
from drivers.frames.layout import Digit, Layout, Lookup
from drivers.frames.modes import Scale, make_status
from drivers.frames.scales import ScaleKey

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class BoundedCache(dict[K, V], Generic[K, V]):
    """A dictionary that works out what it does not have, and forgets all when it is full.

    A real meter shows a handful of different states; a broken one could show them all.
    """

    def __init__(self, work_out: Callable[[K], V], most: int = 1024) -> None:
        self._work_out = work_out
        self._most = most

    def __missing__(self, key: K) -> V:
        if len(self) >= self._most:
            self.clear()
        value = self[key] = self._work_out(key)
        return value


ByteFrameReader = Callable[[bytes], Frame | None]
"""Reads bytes of one frame's length; None where they are not a whole and sound frame."""


def compile_reader(
    wire: Description, layout: Layout, scales: dict[ScaleKey, Scale]
) -> ByteFrameReader:
    """Return the function that reads one frame of this wire."""
    # Local names, as this runs for every frame and for every byte while out of step.
    marked, marks = layout.marks
    check = wire.frame.checksum if isinstance(wire.frame, BytesFrame) else None
    holds = checksums.test(check) if check is not None else None
    status_mask = layout.status_mask
    statuses = BoundedCache(_status_reader(wire, layout, scales))
    digits_mask = sum(digit.mask for digit in layout.digits)
    shown = BoundedCache(_digits_reader(wire, layout.digits), 4096)
    count_reader = _count_reader(wire, layout)
    key, length = layout.key, layout.length
    readable = wire.digits is not None and wire.digits.coding == "ascii"
    text_end = layout.length - len(layout.tail)

    def read(data: bytes) -> Frame | None:
        bits = int.from_bytes(data) << 8 * (length - len(data))
        plain_data = data
        if key:
            bits ^= key
            plain_data = bits.to_bytes(length)[: len(data)]
        if bits & marked != marks or (holds is not None and not holds(plain_data)):
            return None
        status = statuses[bits & status_mask]
        if status is None:
            return None
        text = plain_data[:text_end].decode("latin-1") if readable else ""
        if not (text.isascii() and text.isprintable()):
            text = ""  # flag bytes that are no characters: shown in hexadecimal
        number = shown[bits & digits_mask] if count_reader is None else count_reader(plain_data)
        if status.overload or number == inf:
            return Frame(-inf if status.negative else inf, True, status, data, text)
        if number is None or abs(number) > status.largest:
            return None
        return Frame(number * status.multiplier / status.divisor, False, status, data, text)

    return read


def _count_reader(wire: Description, layout: Layout) -> Callable[[bytes], float] | None:
    """Return the function from a frame to its binary number; infinity for an overload."""
    count = wire.count
    if count is None:
        return None
    over, at, signed = frozenset(wire.overload.counts), layout.count, count.signed

    def number(data: bytes) -> float:
        value = int.from_bytes(bytes(data[place] for place in at), signed=signed)
        return inf if value in over else value

    return number


def _digits_reader(wire: Description, digits: tuple[Digit, ...]) -> Callable[[int], float | None]:
    """Return the function from the digits' bits to their whole number.

    It gives infinity for an overload, and None for what is no number.
    """
    overloads = frozenset(wire.overload.shown)
    blanks = wire.digits is not None and wire.digits.leading_blank

    def number(bits: int) -> float | None:
        shown = [digit.shows.get(bits & digit.mask) for digit in digits]
        if None in shown:
            return None
        text = "".join(filter(None, shown))
        if text in overloads:
            return inf
        if blanks:
            text = text.lstrip(" ")
        return int(text) if text.isdigit() else None

    return number


def _status_reader(
    wire: Description, layout: Layout, scales: dict[ScaleKey, Scale]
) -> Callable[[int], Status | None]:
    """Return the function from the status bits to what they say; None for damage."""
    telling = frozenset(name for mode in wire.modes for name in mode.flags)
    modes = {
        (mode.function, frozenset(mode.flags)): number for number, mode in enumerate(wire.modes)
    }

    def status(bits: int) -> Status | None:
        flags = frozenset(
            name for name, test in layout.flags.items() if bits & test.mask == test.value
        )
        mode = modes.get((_code(layout.function, bits), flags & telling))
        prefixes = [name for name in wire.prefixes if name in flags]
        decimals = _decimals(wire, layout.point, bits, flags)
        negative = _negative(layout, bits)
        if mode is None or len(prefixes) > 1 or decimals is None or negative is None:
            return None
        prefix = prefixes[0] if prefixes else None
        scale = scales.get(ScaleKey(mode, prefix, decimals, _code(layout.range, bits)))
        if scale is None:
            return None
        return make_status(wire, scale, flags, negative=negative)

    return status


def _code(lookup: Lookup | None, bits: int) -> str | None:
    return None if lookup is None else lookup.means.get(bits & lookup.mask)


def _decimals(
    wire: Description, lookup: Lookup | None, bits: int, flags: frozenset[str]
) -> int | None:
    """Return the digits behind the point; None where two points are set, or an unknown code."""
    if wire.point is None:
        return 0
    if lookup is not None:
        code = _code(lookup, bits)
        return None if code is None else wire.point.codes[code]
    lit = [behind for name, behind in wire.point.flags.items() if name in flags]
    if len(lit) > 1:
        return None
    return lit[0] if lit else wire.point.decimals


def _negative(layout: Layout, bits: int) -> bool | None:
    """Say whether the sign is minus; None where it is neither minus nor plus."""
    if layout.minus is None:
        return False
    if bits & layout.minus.mask == layout.minus.value:
        return True
    known = not layout.plus or any(bits & plus.mask == plus.value for plus in layout.plus)
    return False if known else None
