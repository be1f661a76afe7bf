"""Reads and writes byte frames: one mask and one table for each part, put together beforehand.

Both ways use the same compiled layout, so that neither can drift from the other.
"""

from collections.abc import Callable, Sequence
from math import inf, isnan

from drivers.frames import checksums
from drivers.frames.description import BytesFrame, Description, Mode
from drivers.frames.framing import Frame, Status
from drivers.frames.layout import Layout, Lookup
from drivers.frames.places import Digit
from drivers.frames.scales import (
    BoundedCache,
    Scale,
    ScaleKey,
    best,
    exact,
    make_status,
    mode_for,
)
from meterlink.errors import UsageError
from meterlink.reading import Quantity

ByteFrameReader = Callable[[bytes], Frame | None]
"""Reads bytes of one frame's length; None where they are not a whole and sound frame."""


def compile_reader(
    wire: Description, layout: Layout, scales: dict[ScaleKey, Scale]
) -> ByteFrameReader:
    """Return the function that reads one frame of this format."""
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


class BytesEncoder:
    """Makes byte frames."""

    def __init__(self, wire: Description, layout: Layout, scales: dict[ScaleKey, Scale]) -> None:
        self._wire = wire
        self._layout = layout
        # Finest first; of equal ones that with the fewest digits behind the point.
        self._scales = sorted(scales.values(), key=lambda s: (s.resolution, s.decimals))

    def scales(self, mode: int) -> list[Scale]:
        """Return the ranges of a mode, finest first."""
        return [scale for scale in self._scales if scale.mode == mode]

    def frame(
        self,
        value: float,
        quantity: Quantity = Quantity.RESISTANCE,
        *,
        scale: Scale | None = None,
        flags: Sequence[str] = (),
    ) -> bytes:
        """Return the frame for ``value``, SI units; infinite for an overload.

        Args:
            value: rounded to the resolution of the range.
            quantity: chooses the mode, unless ``scale`` does.
            scale: the range; default the finest that can show the value.
            flags: further flags to set, such as ``hold``.

        Raises:
            UsageError: the format cannot say this.
        """
        if scale is None:
            scale = best(
                self.scales(mode_for(self._wire, quantity)),
                0.0 if isnan(value) else min(abs(value), 1e30),
            )
        mode = self._wire.modes[scale.mode]
        over = isnan(value) or abs(value) == inf
        count = 0 if over else round(exact(abs(value)) / scale.resolution)
        over = over or count > scale.largest
        layout = self._layout
        bits = layout.marks.value
        own_sign = self._wire.count is not None and self._wire.count.signed
        if layout.count:
            bits |= self._count(-count if own_sign and value < 0 else count, over=over)
        else:
            bits |= self._digits(0 if over else count, scale.decimals, over=over)
        bits |= self._sign(negative=value < 0 and not own_sign)
        bits |= self._codes(scale, mode)
        named = {*flags, *mode.flags}
        if scale.prefix is not None:
            named.add(scale.prefix)
        if over and self._wire.overload.flag is not None:
            named.add(self._wire.overload.flag)
        named.update(self._point_flag(scale))
        for name in named:
            if name not in layout.flags:
                raise UsageError(f"the frame format {self._wire.name} has no flag {name}")
            bits |= layout.flags[name].value
        return self._checked(bits.to_bytes(layout.length))

    def _count(self, count: int, *, over: bool) -> int:
        """The bits of a binary number."""
        if over and self._wire.overload.counts:
            count = self._wire.overload.counts[0]
        places, bits = self._layout.count, 0
        for byte, at in zip(
            (count & (1 << 8 * len(places)) - 1).to_bytes(len(places)), places, strict=True
        ):
            bits |= byte << 8 * (self._layout.length - 1 - at)
        return bits

    def _digits(self, count: int, behind: int, *, over: bool) -> int:
        wire, digits = self._wire, self._layout.digits
        blank = wire.digits is not None and wire.digits.leading_blank
        # The zero before a point is shown, those left of it are not.
        text = str(count).rjust(behind + 1, "0").rjust(len(digits), " " if blank else "0")
        text = text[-len(digits) :]
        if over and wire.overload.shown:
            text = wire.overload.shown[0]
        bits = 0
        for digit, character in zip(digits, text, strict=True):
            # A half digit has no way to draw 0 but blank.
            if character == "0" and character not in digit.drawn:
                character = " "
            bits |= digit.drawn[character]
        return bits

    def _sign(self, *, negative: bool) -> int:
        layout = self._layout
        if negative and layout.minus is not None:
            return layout.minus.value
        if not negative and layout.plus:
            return layout.plus[0].value
        return 0

    def _codes(self, scale: Scale, mode: Mode) -> int:
        layout, bits = self._layout, 0
        if layout.function is not None and mode.function is not None:
            bits |= layout.function.drawn[mode.function]
        if layout.range is not None and scale.code is not None:
            bits |= layout.range.drawn[scale.code]
        point = self._wire.point
        if layout.point is not None and point is not None:
            code = next(c for c, behind in point.codes.items() if behind == scale.decimals)
            bits |= layout.point.drawn[code]
        return bits

    def _point_flag(self, scale: Scale) -> list[str]:
        point = self._wire.point
        if point is None or scale.decimals == point.decimals:
            return []
        return [name for name, behind in point.flags.items() if behind == scale.decimals][:1]

    def _checked(self, frame: bytes) -> bytes:
        told = self._wire.frame
        if not isinstance(told, BytesFrame):
            return frame
        if told.length_byte is not None:
            at = told.length_byte.at
            frame = frame[:at] + bytes([len(frame) - told.length_byte.adds]) + frame[at + 1 :]
        check = told.checksum
        if check is not None:
            value, at = checksums.written(check, frame), checksums.place(check, frame)
            frame = frame[:at] + value + frame[at + len(value) :]
        key = self._layout.key.to_bytes(len(frame))
        frame = bytes(a ^ b for a, b in zip(frame, key, strict=True))
        end = bytes.fromhex(told.end)  # as it comes, whatever the rest is combined with
        return frame[: len(frame) - len(end)] + end
