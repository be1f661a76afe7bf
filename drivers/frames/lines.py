"""Reads and writes lines of text, ``[label] number [unit] [words]``."""

import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from math import copysign, inf, isnan, nan
from typing import Final

import msgspec

from drivers.frames.description import Description, LinesFrame, TextLayout
from drivers.frames.framing import Frame, Status
from drivers.frames.scales import (
    BoundedCache,
    Scale,
    best,
    exact,
    make_scale,
    make_status,
    mode_for,
    quantity_of,
    ranges_of,
)
from drivers.number_shape import NumberShapes
from meterlink.errors import InvalidFileError, UsageError
from meterlink.quantities.text import plain
from meterlink.quantities.window import INFINITY, NOT_A_NUMBER, real_value
from meterlink.reading import Quantity

MOST: Final = 1e30
"""No quantity in SI units is so large; such a number means something else."""


class Lines(msgspec.Struct, frozen=True, kw_only=True):
    """The text layout of a format, compiled."""

    wire: Description
    frame: LinesFrame
    layout: TextLayout
    pattern: re.Pattern[str]
    end: bytes
    self_marking: bool
    """Whether a line cut off at its front cannot be taken for a whole one."""
    modes: dict[tuple[str, str], int]
    """Label and unit to the mode; either may be empty."""


def compile_lines(wire: Description) -> Lines:
    """Return the layout of a format with text lines.

    Raises:
        InvalidFileError: it is impossible; names the key.
    """
    frame = wire.frame
    assert isinstance(frame, LinesFrame)  # noqa: S101 - the caller chose by this type
    layout = wire.text or TextLayout()
    modes: dict[tuple[str, str], int] = {}
    for number, mode in enumerate(wire.modes):
        key = f"modes[{number}]"
        quantity_of(mode, key)
        if not mode.units and not mode.labels and not mode.assumed:
            raise InvalidFileError(f"{key}: needs units or labels to be told by, or assumed = true")
        for label in mode.labels or ("",):
            for unit in mode.units or ("",):
                if (label, unit) in modes:
                    raise InvalidFileError(
                        f"{key}: told by the same label and unit as modes[{modes[label, unit]}]"
                    )
                modes[label, unit] = number
    _check_words(wire, frame)
    labels = {label for label, _ in modes if label}
    always_labelled = all(label for label, _ in modes)
    fixed = layout.sign == "always" and layout.exponent != "optional"
    return Lines(
        wire=wire,
        frame=frame,
        layout=layout,
        pattern=_pattern(wire, layout, labels, {unit for _, unit in modes if unit}),
        end=frame.end.encode("ascii"),
        self_marking=frame.length is not None or always_labelled or fixed,
        modes=modes,
    )


def _check_words(wire: Description, frame: LinesFrame) -> None:
    parts = {
        "digits": wire.digits, "sign": wire.sign, "point": wire.point,
        "function": wire.function, "range": wire.range,
    }  # fmt: skip
    for name, part in parts.items():
        if part is not None:
            raise InvalidFileError(f"{name}: only for byte frames; lines are laid out in [text]")
    if wire.prefixes or wire.overload.shown or wire.overload.flag:
        raise InvalidFileError("overload, prefixes: lines have words and units instead of flags")
    if not frame.end.isascii():
        raise InvalidFileError("frame.end: must be plain characters")
    texts = [(f"flags.{name}", word) for name, word in wire.flags.items()]
    texts += [("overload.words", word) for word in wire.overload.words]
    for number, mode in enumerate(wire.modes):
        texts += [(f"modes[{number}].units", word) for word in mode.units]
        texts += [(f"modes[{number}].labels", word) for word in mode.labels]
    for key, text in texts:
        if not text or text != text.strip() or frame.end in text:
            raise InvalidFileError(
                f"{key}: “{plain(text)}” may not begin or end with a space, nor hold a line's end"
            )
        try:
            text.encode(frame.encoding)
        except UnicodeEncodeError:
            raise InvalidFileError(
                f"{key}: “{plain(text)}” cannot be written in {frame.encoding}, the encoding"
            ) from None


def _any_of(words: set[str]) -> str:
    """A pattern for one of ``words``, longer ones first."""
    return "|".join(re.escape(word) for word in sorted(words, key=lambda w: (-len(w), w)))


def _pattern(
    wire: Description, layout: TextLayout, labels: set[str], units: set[str]
) -> re.Pattern[str]:
    gap = r" *" if layout.gap == " " else rf" *{re.escape(layout.gap)} *" if layout.gap else ""
    sign = "[+-]" if layout.sign == "always" else "[+-]?"
    apart = " *" if layout.sign_apart else ""
    power = r"[eE]([+-]?\d{1,2})"
    exponent = {"never": "()", "optional": f"(?:{power})?", "always": power}
    point = re.escape(layout.decimal)
    number = rf"(\d{{1,12}})(?:{point}(\d{{0,12}}))?{exponent[layout.exponent]}"
    over = _any_of(set(wire.overload.words))
    value = rf"({sign}){apart}(?:{number})"
    if over:
        value = rf"(?:({sign}){apart}(?:{number})|([+-]?)({over}))"
    groups = "" if over else "()()"
    label = rf"(?:({_any_of(labels)}){gap})?" if labels else "()"
    unit = rf"(?:{gap}({_any_of(units)}))?" if units else "()"
    words = _any_of(set(wire.flags.values()))
    more = rf"((?:{gap}(?:{words}))*)" if words else "()"
    return re.compile(rf" *{label}{value}{groups}{unit}{more} *", re.ASCII)


class LineReader:
    """Reads one line at a time. Keeps the mode last seen, for overloads that come bare."""

    def __init__(self, lines: Lines) -> None:
        self._encoding, self._length = lines.frame.encoding, lines.frame.length
        self._match = lines.pattern.fullmatch
        statuses = StatusReader(lines)
        self._statuses = BoundedCache(statuses.of_number)
        self._overloads = BoundedCache(statuses.of_overload)
        overload = lines.wire.overload
        self._bare = overload.bare
        self._over_numbers = frozenset(overload.numbers)
        self._scpi = overload.scpi
        self._last = ("", "")
        self._shapes = NumberShapes() if self._length is None else None

    def read(self, line: bytes) -> Frame | None:
        """Return the frame that ``line``, without its end, is; None where it is none."""
        if self._length is not None and len(line) != self._length:
            return None
        try:
            text = line.decode(self._encoding)
        except UnicodeDecodeError:
            return None
        found = self._match(text)
        if found is None:
            return None
        label, sign, whole, part, exponent, over_sign, over, unit, words = found.groups("")
        if over:
            return self._over(label, over_sign, unit, words, line, text)
        status = self._statuses[label, sign, unit, words, len(part), exponent]
        if status is None:
            return None
        value = int(whole + part) * status.multiplier / status.divisor
        if value > MOST or value < -MOST:
            return self._no_quantity(value, found, line, text)
        if self._over_numbers and abs(_number(found)) in self._over_numbers:
            return self._over(label, sign, unit, words, line, text)
        if self._shapes is not None and not self._shapes.fits(text):
            return None
        self._last = label, unit
        return Frame(value, False, status, line, text)

    def _no_quantity(
        self, value: float, found: re.Match[str], line: bytes, text: str
    ) -> Frame | None:
        """A number that is larger than any quantity: it means something else, or is damage."""
        stands_for = real_value(value) if self._scpi else value
        label, sign, *_, unit, words = found.groups("")
        over = self._over(label, sign, unit, words, line, text)
        if over is None or abs(stands_for) == inf or abs(value) in self._over_numbers:
            return over
        if not isnan(stands_for):
            return None
        return Frame(nan, False, msgspec.structs.replace(over.status, overload=False), line, text)

    def _over(
        self, label: str, sign: str, unit: str, words: str, line: bytes, text: str
    ) -> Frame | None:
        if self._bare and not label and not unit:
            label, unit = self._last
        status = self._overloads[label, sign, unit, words]
        if status is None:
            return None
        return Frame(-inf if sign == "-" else inf, True, status, line, text)


def _number(found: re.Match[str]) -> float:
    """The number as sent, its unit aside."""
    return float(f"{found[3]}.{found[4] or 0}e{found[5] or 0}")


class StatusReader:
    """What a line says beside its digits; None where it makes no sense."""

    def __init__(self, lines: Lines) -> None:
        self._wire = lines.wire
        self._modes = lines.modes
        self._words = {word: name for name, word in lines.wire.flags.items()}
        self._find = re.compile(_any_of(set(self._words))) if self._words else None

    def of_number(self, said: tuple[str, str, str, str, int, str]) -> Status | None:
        """Take label, sign, unit, words, how many digits are behind the point, and exponent."""
        label, sign, unit, words, behind, exponent = said
        number = self._modes.get((label, unit))
        if number is None:
            return None
        mode = self._wire.modes[number]
        factor = exact(mode.units[unit]) if unit else Fraction(1)
        power = behind - int(exponent or 0)
        resolution = factor * exact(mode.scale) / Fraction(10) ** power
        listed = next(ranges_of(mode, resolution), None)
        if listed is None and mode.ranges:
            return None
        scale = make_scale(self._wire, number, resolution, listed, 10**12, unit=unit)
        status = make_status(self._wire, scale, self._flags(words), negative=sign == "-")
        full = listed.full if listed is not None else None
        return msgspec.structs.replace(status, full=full, largest=inf)

    def of_overload(self, said: tuple[str, str, str, str]) -> Status | None:
        """Take label, sign, unit and words."""
        label, sign, unit, words = said
        number = self._modes.get((label, unit))
        if number is None:
            return None
        scale = make_scale(self._wire, number, Fraction(1), None, 10**12, unit=unit)
        status = make_status(self._wire, scale, self._flags(words), negative=sign == "-")
        return msgspec.structs.replace(
            status, full=None, largest=inf, resolution=None, overload=True
        )

    def _flags(self, words: str) -> frozenset[str]:
        told = self._find.findall(words) if self._find else []
        return frozenset(self._words[word] for word in told)


def begins_with_line(lines: Lines) -> Callable[[bytes], bool]:
    """Return the function that says whether text begins with a whole line and more follows."""
    encoding = lines.frame.encoding

    def begins(line: bytes) -> bool:
        found = lines.pattern.match(line.decode(encoding, "replace"))
        return found is not None and (found[1] or "", found[8] or "") in lines.modes

    return begins


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
                raise UsageError(f"the frame format {self._wire.name} has no flag {name}")
        return [self._wire.flags[name] for name in flags]

    def _over(self, value: float) -> str:
        overload = self._wire.overload
        if overload.words:
            return ("-" if value < 0 else self._plus()) + overload.words[0]
        if overload.scpi:
            return self._with_exponent(copysign(INFINITY, value))
        if not overload.numbers:
            raise UsageError(f"the frame format {self._wire.name} has no overload")
        return ("-" if value < 0 else self._plus()) + f"{overload.numbers[0]:g}"

    def _number(self, value: float, scale: Scale) -> str:
        if isnan(value):
            if not self._wire.overload.scpi:
                raise UsageError(f"the frame format {self._wire.name} has no not-a-number")
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
