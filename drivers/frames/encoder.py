"""Turns values into frames: what a meter with this wire would send. Serves the simulated meters.

It is made of the same compiled layout as the decoder, so that neither can drift from the other.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import copysign, inf, isnan

from drivers.frames import checksums
from drivers.frames.description import BytesFrame, Description, Mode
from drivers.frames.layout import Layout
from drivers.frames.lines import Lines
from drivers.frames.modes import Scale, exact, make_scale
from drivers.frames.scales import ScaleKey
from meterlink.errors import UsageError
from meterlink.quantities.window import INFINITY, NOT_A_NUMBER
from meterlink.reading import Quantity


def mode_for(wire: Description, quantity: Quantity) -> int:
    """Return the first mode that measures ``quantity``.

    Raises:
        UsageError: the wire has none.
    """
    for number, mode in enumerate(wire.modes):
        if mode.assumed or mode.quantity == quantity.value:
            return number
    raise UsageError(f"the wire {wire.name} has no {quantity.value}")


def best(scales: Sequence[Scale], value: float) -> Scale:
    """Return the finest scale that can show ``value``; the coarsest where none can."""
    for scale in scales:
        if round(exact(abs(value)) / scale.resolution) <= scale.largest:
            return scale
    return scales[-1]


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
            UsageError: the wire cannot say this.
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
                raise UsageError(f"the wire {self._wire.name} has no flag {name}")
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
        if told.end:
            end = bytes.fromhex(told.end)
            frame = frame[: len(frame) - len(end)] + end
        check = told.checksum
        if check is not None:
            value, at = checksums.written(check, frame), checksums.place(check, frame)
            frame = frame[:at] + value + frame[at + len(value) :]
        key = self._layout.key.to_bytes(len(frame))
        return bytes(a ^ b for a, b in zip(frame, key, strict=True))


class LinesEncoder:
    """Makes lines of text, each with its end."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines
        self._wire = lines.wire

    def scales(self, mode: int) -> list[Scale]:
        """Return the ranges of a mode, finest first; made up where none is listed."""
        wire = self._wire
        named = wire.modes[mode]
        units = sorted(named.units.items(), key=lambda unit: unit[1]) or [("", 1.0)]
        found = []
        for listed in named.ranges:
            resolution = exact(listed.resolution)
            unit = self._unit_for(units, listed.full or listed.resolution)
            largest = named.largest or 10**self._lines.layout.figures - 1
            if listed.full is not None:
                largest = min(largest, round(exact(listed.full) / resolution))
            found.append(make_scale(wire, mode, resolution, listed, largest, unit=unit))
        if not found:
            largest = 10**self._lines.layout.figures - 1
            for unit, factor in units:
                for behind in range(self._lines.layout.figures - 1, -1, -1):
                    resolution = exact(factor) * exact(named.scale) / 10**behind
                    found.append(make_scale(wire, mode, resolution, None, largest, unit=unit))
        return sorted(found, key=lambda scale: scale.resolution)

    @staticmethod
    def _unit_for(units: list[tuple[str, float]], full: float) -> str:
        """The largest unit that is no more than full scale."""
        fitting = [unit for unit, factor in units if factor <= full]
        return fitting[-1] if fitting else units[0][0]

    def frame(
        self,
        value: float,
        quantity: Quantity = Quantity.RESISTANCE,
        *,
        scale: Scale | None = None,
        flags: Sequence[str] = (),
    ) -> bytes:
        """Return the line for ``value``; see ``BytesEncoder.frame``."""
        wire, layout = self._wire, self._lines.layout
        if scale is None:
            finite = 0.0 if isnan(value) or abs(value) == inf else value
            scale = best(self.scales(mode_for(wire, quantity)), finite)
        mode = wire.modes[scale.mode]
        words = self._words(flags)
        over = abs(value) == inf or (not isnan(value) and self._beyond(value, scale))
        number = self._over(value) if over else self._number(value, scale)
        bare = over and wire.overload.bare
        label = mode.labels[0] if mode.labels and not bare else ""
        unit = scale.unit if not bare else ""
        text = layout.gap.join(part for part in (label, number, unit, *words) if part)
        length = self._lines.frame.length
        if length is not None:
            text = text.rjust(length)
        return text.encode(self._lines.frame.encoding) + self._lines.end

    def _beyond(self, value: float, scale: Scale) -> bool:
        if self._lines.layout.exponent != "never":
            return False
        return round(exact(abs(value)) / scale.resolution) > scale.largest

    def _words(self, flags: Sequence[str]) -> list[str]:
        for name in flags:
            if name not in self._wire.flags:
                raise UsageError(f"the wire {self._wire.name} has no flag {name}")
        return [self._wire.flags[name] for name in flags]

    def _over(self, value: float) -> str:
        overload = self._wire.overload
        if overload.words:
            return ("-" if value < 0 else self._plus()) + overload.words[0]
        if overload.scpi:
            return self._with_exponent(copysign(INFINITY, value))
        if not overload.numbers:
            raise UsageError(f"the wire {self._wire.name} has no overload")
        return ("-" if value < 0 else self._plus()) + f"{overload.numbers[0]:g}"

    def _number(self, value: float, scale: Scale) -> str:
        if isnan(value):
            if not self._wire.overload.scpi:
                raise UsageError(f"the wire {self._wire.name} has no not-a-number")
            return self._with_exponent(NOT_A_NUMBER)
        mode = self._wire.modes[scale.mode]
        unit = exact(mode.units[scale.unit] if scale.unit else 1.0) * exact(mode.scale)
        if self._lines.layout.exponent != "never":
            return self._with_exponent(float(exact(value) / unit))
        count = round(exact(abs(value)) / scale.resolution)
        behind = _decimals(scale.resolution / unit)
        shown = Decimal(count) * Decimal(1).scaleb(-behind) * _ten(scale.resolution / unit, behind)
        sign = "-" if value < 0 and count else self._plus()
        return sign + f"{shown:.{behind}f}".replace(".", self._lines.layout.decimal)

    def _plus(self) -> str:
        return "+" if self._lines.layout.sign == "always" else ""

    def _with_exponent(self, number: float) -> str:
        text = f"{number:.{self._lines.layout.figures - 1}E}"
        plus = self._plus() if number >= 0 else ""
        return plus + text.replace(".", self._lines.layout.decimal)


def _decimals(step: Fraction) -> int:
    """Return how many digits behind the point are needed for multiples of ``step``."""
    behind = 0
    while (step * 10**behind).denominator != 1 and behind < 12:
        behind += 1
    return behind


def _ten(step: Fraction, behind: int) -> int:
    """Return how many counts of the last digit shown one ``step`` is."""
    return int(step * 10**behind)
