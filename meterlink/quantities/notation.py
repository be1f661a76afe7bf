"""Engineering notation: values, windows and accuracies as people write them.

Read everywhere: ``0.842``, ``4k7``, ``0R82`` (the letter in place of the point is the resistor
code of IEC 60062), ``5.1 kohm``, ``5.1 kΩ``, ``1e3 ohm``, ``0.3 mm``, ``84 lbf·in``, ``OL``.
Written with no more digits than the resolution or the uncertainty bears.
"""

import re
from collections.abc import Mapping
from decimal import Decimal
from math import floor, inf, isfinite, log10
from typing import Final

import msgspec

from meterlink.errors import NotationError
from meterlink.quantities.text import plain
from meterlink.quantities.units import (
    PREFIXES,
    SI_UNITS,
    Unit,
    find_unit,
    normalise,
    takes_prefix,
    unit_named,
)
from meterlink.quantities.window import Window
from meterlink.source import Accuracy

_EXPECTED: Final = "expected a number and unit such as 0.842, 4k7, 5.1 kohm, 0.25 mm, or OL"
_LONGEST: Final = 64
_LARGEST: Final = 1e15
"""In any SI unit; beyond it a number is a slip of the hand."""
_FINEST: Final = 12
"""Most decimals that are ever shown."""

_OVER_RANGE: Final = frozenset({"ol", "o.l", "o.l.", "overload", "over range", "over-range"})

_NUMBER: Final = re.compile(
    r"(?P<sign>[+-]?)(?P<digits>[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE](?P<power>[+-]?[0-9]{1,3}))?"
)
_LETTER_POINT: Final = re.compile(
    r"(?P<sign>[+-]?)(?P<whole>[0-9]*)(?P<letter>[RmkKMG])(?P<part>[0-9]+)(?P<unit>\D*)"
)


class Value(msgspec.Struct, frozen=True):
    """One value as written, in SI units."""

    value: float
    """Infinite for an overload."""
    unit: str = "ohm"
    """A name of ``units.SI_UNITS``."""
    resolution: float = 0.0
    """Step of the last digit that was written, same unit: 100 for ``4k7``; 0 for an overload."""
    overload: bool = False
    bare: bool = False
    """No unit was written, so ``unit`` is the one that was asked for."""


def parse_quantity(text: str, default_unit: str = "ohm") -> Value:
    """Return the value that ``text`` spells, in any unit; a bare number is in ``default_unit``.

    Raises:
        NotationError: says what was expected.
    """
    fallback = unit_named(default_unit)
    written = normalise(text).strip()
    if len(written) > _LONGEST:
        raise _unreadable(text)
    if (over := _parse_over_range(written, fallback)) is not None:
        return over
    if (match := _LETTER_POINT.fullmatch(written)) is not None:
        number, step = _letter_point(match)
        word = match["unit"].strip()
        unit = unit_named(word) if word else fallback
        if unit.factor != 1 or not takes_prefix(unit):  # 4k7 kohm, 4k7 °C: what is meant?
            raise _unreadable(text)
    elif (match := _NUMBER.match(written)) is not None:
        number, step = _plain_number(match)
        word = written[match.end() :].strip()
    else:
        raise _unreadable(text)
    unit, scale = _unit_of(word, fallback, text)
    factor = unit.factor * scale
    value = float((number - unit.offset) * factor)
    if abs(value) > _LARGEST:
        raise NotationError(f"«{plain(text)}» is too large to be a measured value")
    return Value(value, unit.si, float(step * factor), bare=not _names_unit(word))


def parse_as(text: str, unit: str) -> Value:
    """Return the value that ``text`` spells, which must be a measure of what ``unit`` measures.

    Raises:
        NotationError: it cannot be read, or it is in a unit of something else.
    """
    value = parse_quantity(text, unit)
    wanted = unit_named(unit).si
    if value.unit != wanted:
        raise NotationError(
            f"«{plain(text)}» is {SI_UNITS[value.unit]}; expected {SI_UNITS[wanted]}, in {unit}"
        )
    return value


def parse_window(text: str, default_unit: str = "ohm") -> Window:
    """Return the window ``LOW:HIGH`` that ``text`` spells, such as ``0.7:1.0ohm`` or ``4k:7kohm``.

    A unit on one end holds for both; an end may be left out (``:2ohm``, ``1M:``). A prefix on the
    high end alone is refused where the low end would make sense with and without it.

    Raises:
        NotationError: says what was expected.
    """
    low_text, colon, high_text = text.partition(":")
    low_text, high_text = low_text.strip(), high_text.strip()
    if not colon or not (low_text or high_text):
        raise NotationError(
            f"«{plain(text)}» is no window; expected LOW:HIGH such as 0.7:1.0ohm or 4k:7kohm"
        )
    high = parse_quantity(high_text, default_unit) if high_text else None
    low = parse_quantity(low_text, default_unit) if low_text else None
    for end in (low, high):
        if end is not None and end.overload:
            raise NotationError(f"«{plain(text)}» is no window: leave an open end empty, as in 1M:")
    if low and high and low.unit != high.unit:
        low, high = _share_unit(low, low_text, high, high_text, text)
    if low and high and low.bare and not high.bare:
        _refuse_if_ambiguous(low.value, high_text, high.value, text)
    known = high or low
    return Window(
        low.value if low else None, high.value if high else None, known.unit if known else "ohm"
    )


def parse_accuracy(text: str) -> Accuracy:
    """Return the published accuracy that ``text`` spells.

    ``0.8%+3`` is 0.8 percent of reading and 3 counts; ``0.01%+0.004%range`` is for meters whose
    second figure is percent of range.

    Raises:
        NotationError: says what was expected.
    """
    percent = counts = of_range = 0.0
    parts = normalise(text).replace("±", "").strip().strip("()").split("+")
    for part in parts:
        match = _ACCURACY_PART.fullmatch(part.strip())
        if match is None:
            raise NotationError(
                f"«{plain(text)}» is no accuracy; expected percent of reading and counts, such as "
                "0.8%+3, or percent of reading and of range, such as 0.01%+0.004%range"
            )
        number = float(match["number"])
        if not match["percent"]:
            counts += number
        elif match["range"]:
            of_range += number
        else:
            percent += number
    if percent > 100 or of_range > 100:
        raise NotationError(f"«{plain(text)}» is no accuracy: it is over 100 percent")
    return Accuracy(percent=percent, counts=counts, of_range=of_range, source="as typed")


_ACCURACY_PART: Final = re.compile(
    r"(?P<number>[0-9]+\.?[0-9]*|\.[0-9]+)\s*"
    r"(?:(?P<percent>%)\s*(?:of\s*)?(?:(?P<range>range|full scale|fs)|reading|rdg)?"
    r"|(?:counts?|digits?|dgts?))?",
    re.IGNORECASE,
)


def format_value(
    value: float, unit: str = "ohm", resolution: float | None = None, *, ohm_sign: bool = True
) -> str:
    """Return ``value`` for people: ``0.842 Ω``, ``5.13 kΩ``, ``9.49 N·m``.

    The last digit shown stands where the first digit of ``resolution`` (same unit) does; None
    shows up to four digits. ``ohm_sign=False`` writes ``ohm`` where the sign cannot be shown.
    """
    if value != value:
        return "no number"
    if value in (inf, -inf):
        return "over range"
    symbols = _symbols(unit, ohm_sign)
    told = resolution is not None and _LEAST_STEP <= resolution < inf
    step = resolution if resolution is not None and told else _four_digits(value)
    power, digits = _engineering(value, step, symbols)
    shown = _fixed(value / 10.0**power, digits)
    if not told and "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    return f"{shown} {symbols[power]}"


def format_with_u(value: float, u: float, unit: str = "ohm", *, ohm_sign: bool = True) -> str:
    """Return ``value ± u``, the uncertainty with two digits (GUM 7.2.6): ``0.842 ± 0.013 Ω``."""
    if not isfinite(value) or not isfinite(u) or u < _LEAST_STEP:
        return format_value(value, unit, ohm_sign=ohm_sign)
    symbols = _symbols(unit, ohm_sign)
    step = 10.0 ** (floor(log10(float(f"{u:.1e}"))) - 1)
    power, digits = _engineering(value, step, symbols)
    scale = 10.0**power
    return f"{_fixed(value / scale, digits)} ± {_fixed(u / scale, digits)} {symbols[power]}"


def _fixed(number: float, digits: int) -> str:
    """Return ``number`` with so many decimals; nought has no sign."""
    shown = f"{number:.{digits}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown


def _symbols(unit: str, ohm_sign: bool) -> Mapping[int, str]:
    """A unit that is not known here, from a record of another program, is shown as it stands."""
    known = _SYMBOLS.get(unit, {0: plain(unit, 20)})
    return known if ohm_sign else _PLAIN_SYMBOLS.get(unit, known)


_LEAST_STEP: Final = 1e-18
"""No digit of any quantity here stands for less; a smaller step is a slip, and is not shown."""


_SYMBOLS: Final[Mapping[str, Mapping[int, str]]] = {
    "ohm": {-6: "µΩ", -3: "mΩ", 0: "Ω", 3: "kΩ", 6: "MΩ", 9: "GΩ"},
    "volt": {-6: "µV", -3: "mV", 0: "V", 3: "kV"},
    "ampere": {-9: "nA", -6: "µA", -3: "mA", 0: "A"},
    "farad": {-12: "pF", -9: "nF", -6: "µF", -3: "mF", 0: "F"},
    "hertz": {0: "Hz", 3: "kHz", 6: "MHz"},
    "celsius": {0: "°C"},
    "metre": {-3: "mm"},
    "newton-metre": {0: "N·m"},
    "newton": {0: "N"},
    "second": {-3: "ms", 0: "s"},
}
"""Symbols by power of ten: the prefixes that the trade uses with each unit."""

_PLAIN_SYMBOLS: Final[Mapping[str, Mapping[int, str]]] = {
    "ohm": {-6: "uohm", -3: "mohm", 0: "ohm", 3: "kohm", 6: "Mohm", 9: "Gohm"},
    "celsius": {0: "C"},
}


def _engineering(value: float, step: float, symbols: Mapping[int, str]) -> tuple[int, int]:
    """Return the power of ten of the unit shown, and how many decimals ``step`` bears in it."""
    # A hair of tolerance: 0.001 is three decimals though its logarithm is -2.9999999999999996.
    finest = -floor(log10(step) + 1e-9)
    size = abs(round(value, min(finest, 3 * _FINEST)))
    power, *larger = sorted(symbols)
    for candidate in larger:
        # The trade writes 0.842 Ω, not 842 mΩ; thousandths only for what is really small.
        least = 1.0 if candidate else 0.1 if step < 1e-3 and size else 0.0
        if size >= least * 10.0**candidate or finest + power < 0:
            power = candidate
    return power, min(max(0, finest + power), _FINEST)


def _four_digits(value: float) -> float:
    return max(_LEAST_STEP, 10.0 ** (floor(log10(abs(value))) - 3)) if value else 1.0


def _parse_over_range(written: str, fallback: Unit) -> Value | None:
    if written.lower() in _OVER_RANGE:
        return Value(inf, fallback.si, overload=True, bare=True)
    head, _, word = written.partition(" ")
    if head.lower() in {"ol", "o.l"} and (unit := find_unit(word)) is not None:
        return Value(inf, unit.si, overload=True)
    return None


def _plain_number(match: re.Match[str]) -> tuple[Decimal, Decimal]:
    digits = match["digits"]
    power = int(match["power"] or 0) - len(digits.partition(".")[2])
    number = Decimal(match["sign"] + digits) * Decimal(10) ** int(match["power"] or 0)
    return number, Decimal(10) ** power


def _letter_point(match: re.Match[str]) -> tuple[Decimal, Decimal]:
    scale = Decimal(10) ** PREFIXES.get(match["letter"], 0)
    number = Decimal(f"{match['sign']}{match['whole'] or '0'}.{match['part']}") * scale
    step = Decimal(10) ** -len(match["part"]) * scale
    return number, step


def _unit_of(word: str, fallback: Unit, text: str) -> tuple[Unit, Decimal]:
    """Return the unit of ``word`` and the scale of a prefix that stands alone."""
    if not word:
        return fallback, Decimal(1)
    if word == "R":
        return Unit("ohm"), Decimal(1)
    if word in PREFIXES and takes_prefix(fallback):
        return Unit(fallback.si), Decimal(10) ** PREFIXES[word]
    found = find_unit(word)
    if found is None:
        raise _unreadable(text)
    return found, Decimal(1)


def _names_unit(word: str) -> bool:
    return word != "" and word not in PREFIXES


def _share_unit(
    low: Value, low_text: str, high: Value, high_text: str, text: str
) -> tuple[Value, Value]:
    """Give the unit written on one end to the end that has none."""
    if low.bare:
        return parse_quantity(low_text, high.unit), high
    if high.bare:
        return low, parse_quantity(high_text, low.unit)
    raise NotationError(
        f"«{plain(text)}» is no window: one end is {SI_UNITS[low.unit]} and the other "
        f"{SI_UNITS[high.unit]}"
    )


def _refuse_if_ambiguous(low: float, high_text: str, high: float, text: str) -> None:
    """``4:7kohm`` could mean 4 ohm or 4 kohm; a wrong window would judge wrongly in silence."""
    match = _NUMBER.match(normalise(high_text))
    if match is None or low == 0:
        return
    scale = high / float(match[0]) if float(match[0]) else 1.0
    if scale > 1 and low * scale <= high:
        raise NotationError(
            f"«{plain(text)}» could be read in two ways; write the prefix or unit on both ends, "
            "as in 4k:7kohm"
        )


def _unreadable(text: str) -> NotationError:
    return NotationError(f"«{plain(text)}» cannot be read; {_EXPECTED}")
