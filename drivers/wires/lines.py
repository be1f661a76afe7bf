"""Reads a line of text, ``[label] number [unit] [words]``, by a pattern made beforehand."""

import re
from collections.abc import Callable
from fractions import Fraction
from math import inf
from typing import Final, NamedTuple

import msgspec

from drivers.wires.description import Description, LinesFrame, TextLayout
from drivers.wires.frame import Frame, Status
from drivers.wires.modes import exact, make_scale, make_status, quantity_of, ranges_of
from drivers.wires.remembered import Remembered
from meterlink.declared import InvalidFileError
from meterlink.overrange import real_value
from meterlink.text import plain

MOST: Final = 1e30
"""No quantity in SI units is so large; such a number means something else."""


class Said(NamedTuple):
    """All of a line but its digits."""

    label: str
    minus: bool
    unit: str
    words: str
    behind: int
    """Digits behind the point, less the exponent: the number is the digits by 10 to this."""
    overload: bool


class Lines(msgspec.Struct, frozen=True, kw_only=True):
    """The text layout of a wire, compiled."""

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
    """Return the layout of a wire with text lines.

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
                f"{key}: «{plain(text)}» may not begin or end with a space, nor hold a line's end"
            )
        try:
            text.encode(frame.encoding)
        except UnicodeEncodeError:
            raise InvalidFileError(
                f"{key}: «{plain(text)}» cannot be written in {frame.encoding}, the encoding"
            ) from None


def _any_of(words: set[str]) -> str:
    """A pattern for one of ``words``, longer ones first."""
    return "|".join(re.escape(word) for word in sorted(words, key=lambda w: (-len(w), w)))


def _pattern(
    wire: Description, layout: TextLayout, labels: set[str], units: set[str]
) -> re.Pattern[str]:
    gap = r" *" if layout.gap == " " else rf" *{re.escape(layout.gap)} *" if layout.gap else ""
    sign = "[+-]" if layout.sign == "always" else "[+-]?"
    power = r"[eE]([+-]?\d{1,2})"
    exponent = {"never": "()", "optional": f"(?:{power})?", "always": power}
    point = re.escape(layout.decimal)
    number = rf"(\d{{1,12}})(?:{point}(\d{{0,12}}))?{exponent[layout.exponent]}"
    over = _any_of(set(wire.overload.words))
    value = rf"({sign})(?:{number})" if not over else rf"(?:({sign})(?:{number})|([+-]?)({over}))"
    groups = "" if over else "()()"
    label = rf"(?:({_any_of(labels)}){gap})?" if labels else "()"
    unit = rf"(?:{gap}({_any_of(units)}))?" if units else "()"
    words = _any_of(set(wire.flags.values()))
    more = rf"((?:{gap}(?:{words}))*)" if words else "()"
    return re.compile(rf" *{label}{value}{groups}{unit}{more} *", re.ASCII)


class LineReader:
    """Reads one line at a time. Keeps the mode last seen, for overloads that come bare."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines
        self._encoding, self._length = lines.frame.encoding, lines.frame.length
        self._match = lines.pattern.fullmatch
        self._statuses = Remembered(StatusReader(lines).status)
        overload = lines.wire.overload
        self._bare = overload.bare
        self._over_numbers = frozenset(overload.numbers)
        self._scpi = overload.scpi
        self._last: Said | None = None

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
            return self._over(Said(label, over_sign == "-", unit, words, 0, True), line, text)
        behind = len(part) - (int(exponent) if exponent else 0)
        said = Said(label, sign == "-", unit, words, behind, False)
        status = self._statuses[said]
        if status is None:
            return None
        value = int(whole + part) * status.multiplier / status.divisor
        if self._scpi:
            value = real_value(value)
        if abs(value) == inf or (self._over_numbers and self._is_over(whole, part, exponent)):
            return self._over(said._replace(behind=0, overload=True), line, text)
        if abs(value) > MOST:
            return None
        self._last = said
        return Frame(value, False, status, line, text)

    def _is_over(self, whole: str, part: str, exponent: str) -> bool:
        return float(f"{whole}.{part or 0}e{exponent or 0}") in self._over_numbers

    def _over(self, said: Said, line: bytes, text: str) -> Frame | None:
        bare = not said.label and not said.unit
        if bare and self._bare and self._last is not None:
            said = said._replace(label=self._last.label, unit=self._last.unit)
        status = self._statuses[said]
        if status is None:
            return None
        return Frame(-inf if said.minus else inf, True, status, line, text)


class StatusReader:
    """What the words of a line say."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines
        self._words = {word: name for name, word in lines.wire.flags.items()}
        self._find = re.compile(_any_of(set(self._words))) if self._words else None

    def status(self, said: Said) -> Status | None:
        """Return what is said beside the digits; None where it makes no sense."""
        wire = self._lines.wire
        mode = self._lines.modes.get((said.label, said.unit))
        if mode is None:
            return None
        factor = exact(wire.modes[mode].units[said.unit]) if said.unit else Fraction(1)
        resolution = factor * exact(wire.modes[mode].scale) / Fraction(10) ** said.behind
        for listed in [None] if said.overload else ranges_of(wire.modes[mode], resolution):
            scale = make_scale(wire, mode, resolution, listed, 10**12, unit=said.unit)
            told = self._find.findall(said.words) if self._find else []
            flags = frozenset(self._words[word] for word in told)
            status = make_status(wire, scale, flags, negative=said.minus)
            return msgspec.structs.replace(
                status,
                full=listed.full if listed is not None else None,
                largest=inf,
                resolution=None if said.overload else status.resolution,
                overload=said.overload,
            )
        return None


def begins_with_line(lines: Lines) -> Callable[[bytes], bool]:
    """Return the function that says whether text begins with a whole line and more follows."""
    encoding = lines.frame.encoding

    def begins(line: bytes) -> bool:
        found = lines.pattern.match(line.decode(encoding, "replace"))
        return found is not None and (found[1] or "", found[8] or "") in lines.modes

    return begins
