"""Engineering notation: values as people write them, and the units of the trade.

Read everywhere: ``0.842``, ``0,842``, ``4k7``, ``0R82`` (the letter in place of the point is the
resistor code of IEC 60062), ``5.1 kohm``, ``5,1 kΩ``, ``1e3 ohm``, ``0.3 mm``, ``84 lbf·in``,
``OL``. A comma is a decimal sign like the point (SI Brochure, 9th edition, 5.4.4) wherever it
cannot part thousands; ``1,234`` is refused. Written with no more digits than the resolution or the
uncertainty bears.
"""

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from math import floor, inf, isfinite, log10
from typing import Final

import msgspec

from meterlink.errors import NotationError
from meterlink.quantities.text import normalise, plain

SI_UNITS: Final = {
    "ohm": "a resistance",
    "volt": "a voltage",
    "ampere": "a current",
    "farad": "a capacitance",
    "hertz": "a frequency",
    "celsius": "a temperature",
    "metre": "a length",
    "newton-metre": "a torque",
    "newton": "a force",
    "second": "a time",
}
"""Name in files and JSON, and what it measures in words. Temperatures are in degrees Celsius."""

_EXAMPLES: Final = {
    "ohm": "0.84 ohm or 4k7",
    "volt": "1.5 V",
    "ampere": "0.2 A",
    "farad": "0.22 uF",
    "hertz": "50 Hz",
    "celsius": "20 °C or 68 °F",
    "metre": "0.25 mm or 0.010 in",
    "newton-metre": "9.5 N·m or 84 lbf·in",
    "newton": "9 N",
    "second": "12 s",
}
"""How people write each of ``SI_UNITS``."""

PREFIXES: Final = {
    "p": -12,
    "n": -9,
    "µ": -6,
    "u": -6,
    "m": -3,
    "k": 3,
    "K": 3,
    "M": 6,
    "G": 9,
}
"""Power of ten of each SI prefix, with the spellings that keyboards and meters use."""

_INCH: Final = Decimal("0.0254")
_FOOT: Final = 12 * _INCH
_GRAVITY: Final = Decimal("9.80665")
_POUND_FORCE: Final = Decimal("0.45359237") * _GRAVITY


class Unit(msgspec.Struct, frozen=True):
    """One unit as written: ``SI value = (written - offset) * factor``."""

    si: str
    """Name of the SI unit, a key of ``SI_UNITS``."""
    factor: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)


_TAKES_PREFIX: Final = {
    "ohm": "ohm",
    "ohms": "ohm",
    "Ω": "ohm",
    "volt": "volt",
    "volts": "volt",
    "v": "volt",
    "ampere": "ampere",
    "amperes": "ampere",
    "amp": "ampere",
    "amps": "ampere",
    "a": "ampere",
    "farad": "farad",
    "f": "farad",
    "hertz": "hertz",
    "hz": "hertz",
    "s": "second",
}

_MM: Final = Unit("metre", Decimal("0.001"))
_IN: Final = Unit("metre", _INCH)
_THOU: Final = Unit("metre", _INCH / 1000)
_NM: Final = Unit("newton-metre")
_LBF_IN: Final = Unit("newton-metre", _POUND_FORCE * _INCH)
_LBF_FT: Final = Unit("newton-metre", _POUND_FORCE * _FOOT)
_KGF_M: Final = Unit("newton-metre", _GRAVITY)
_KGF_CM: Final = Unit("newton-metre", _GRAVITY / 100)
_CELSIUS: Final = Unit("celsius")
_FAHRENHEIT: Final = Unit("celsius", 1 / Decimal("1.8"), Decimal(32))

_PLAIN: Final = {
    _CELSIUS: "°c c oc degc celsius",
    # A bare F is a temperature in this trade; a capacitance always carries a prefix.
    _FAHRENHEIT: "°f f of degf fahrenheit",
    Unit("metre"): "metre metres meter meters",
    _MM: "mm millimetre millimetres millimeter millimeters",
    Unit("metre", Decimal("0.01")): "cm",
    _IN: 'in inch inches "',
    _THOU: "thou mil mils",
    _NM: "nm newtonmetre newtonmetres newtonmeter newtonmeters",
    Unit("newton-metre", Decimal("0.01")): "ncm",
    _LBF_IN: "lbfin lbin lbsin inlbf inlb inlbs inchpound inchpounds",
    _LBF_FT: "lbfft lbft lbsft ftlbf ftlb ftlbs footpound footpounds",
    _KGF_M: "kgfm kgm",
    _KGF_CM: "kgfcm kgcm",
    Unit("newton"): "n newton newtons",
    Unit("newton", _GRAVITY): "kgf",
    Unit("newton", _POUND_FORCE): "lbf",
    Unit("second"): "sec second seconds",
    Unit("second", Decimal(60)): "min minute minutes",
    Unit("second", Decimal(3600)): "h hour hours",
}
_BY_SPELLING: Final = {
    spelling: unit for unit, spellings in _PLAIN.items() for spelling in spellings.split()
}

_JOINERS: Final = str.maketrans("", "", " \t.·⋅•*×-")
"""Signs between the parts of a product: ``N·m``, ``N.m``, ``lbf-in`` are all one word."""


def find_unit(word: str) -> Unit | None:
    """Return the unit that ``word`` spells, or None; a prefix is part of the word.

    Letter case tells only in a prefix (``m`` and ``M``): ``mohm`` and ``Mohm`` differ, ``kOhm``
    and ``kohm`` do not.
    """
    word = normalise(word).translate(_JOINERS)
    if (exact := _BY_SPELLING.get(word.lower())) is not None:
        return exact
    if word.lower() in _TAKES_PREFIX or word in _TAKES_PREFIX:
        return Unit(_TAKES_PREFIX.get(word) or _TAKES_PREFIX[word.lower()])
    prefix, rest = word[:1], word[1:]
    if prefix not in PREFIXES:
        return None
    base = _TAKES_PREFIX.get(rest) or _TAKES_PREFIX.get(rest.lower())
    return Unit(base, Decimal(10) ** PREFIXES[prefix]) if base else None


def unit_named(word: str) -> Unit:
    """Return the unit that ``word`` spells, one of ``SI_UNITS`` or any that the trade writes.

    Raises:
        NotationError: there is no such unit.
    """
    unit = Unit(word) if word in SI_UNITS else find_unit(word)
    if unit is None:
        raise NotationError(f"“{word}” is no unit known here; known are {', '.join(_examples())}")
    return unit


def takes_prefix(unit: Unit) -> bool:
    """Return whether a lone prefix can stand for the whole: ``4.7k``, yes for ohms, no for °C."""
    return unit.si in _TAKES_PREFIX.values()


def _examples() -> Iterator[str]:
    yield from ("ohm", "kohm", "V", "°C", "°F", "mm", "in", "thou", "N·m", "lbf·in", "lbf·ft")
    yield from ("kgf·m", "N", "s", "min")


_LONGEST: Final = 64
_LARGEST: Final = 1e15
"""In any SI unit; beyond it a number is a slip of the hand."""
_FINEST: Final = 12
"""Most decimals that are ever shown."""

_OVER_RANGE: Final = frozenset(
    {"ol", "o.l", "o.l.", "0l", "0.l", "0.l.", "over", "overload", "overrange"}
    | {"over range", "over-range"}
)
"""What displays show and people type; some write the letter O as a zero."""

_NUMBER: Final = re.compile(
    r"(?P<sign>[+-]?)(?P<digits>[0-9]+(?:\.[0-9]*|,[0-9]+)?|[.,][0-9]+)"
    r"(?:[eE](?P<power>[+-]?[0-9]{1,3}))?"
)
_MAY_PART_THOUSANDS: Final = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
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
        raise _unreadable(text, fallback)
    if (over := _parse_over_range(written, fallback)) is not None:
        return over
    if (match := _LETTER_POINT.fullmatch(written)) is not None:
        number, step = _letter_point(match)
        word = match["unit"].strip()
        unit = unit_named(word) if word else fallback
        if unit.factor != 1 or not takes_prefix(unit):  # 4k7 kohm, 4k7 °C: what is meant?
            raise _unreadable(text, fallback)
    elif (read := read_number(written)) is not None:
        number, step, word = read
    else:
        raise _unreadable(text, fallback)
    unit, scale = _unit_of(word, fallback, text)
    factor = unit.factor * scale
    value = float((number - unit.offset) * factor)
    if abs(value) > _LARGEST:
        raise NotationError(f"“{plain(text)}” is too large to be a measured value")
    return Value(value, unit.si, float(step * factor), bare=not names_unit(word))


def parse_as(text: str, unit: str, *, bare: bool = True) -> Value:
    """Return the value that ``text`` spells, which must be a measure of what ``unit`` measures.

    ``bare``: whether a number without a unit is taken, as one in ``unit``.

    Raises:
        NotationError: it cannot be read, lacks its unit or is in a unit of something else; says
            what to type.
    """
    value = parse_quantity(text, unit)
    wanted = unit_named(unit).si
    if value.unit != wanted:
        raise NotationError(f"“{plain(text)}” is {SI_UNITS[value.unit]}; {what_to_type(wanted)}")
    if value.bare and not (bare or value.overload):
        raise NotationError(f"“{plain(text)}” has no unit; {what_to_type(wanted)}")
    return value


def what_to_type(unit: str) -> str:
    """Return how to answer a question for a value in ``unit``, a name of ``SI_UNITS``."""
    measured = SI_UNITS[unit].partition(" ")[2]
    return f"type {measured} and unit, such as {_EXAMPLES[unit]}"


def read_number(written: str, *, comma: bool = False) -> tuple[Decimal, Decimal, str] | None:
    """Return the number that ``written`` begins with, its last digit's step, and what follows.

    None where it begins with no number. ``comma``: it is known that a comma is a decimal sign.

    Raises:
        NotationError: a comma could part thousands, or there is more than one such sign.
    """
    match = _NUMBER.match(written)
    if match is None:
        return None
    digits, rest = match["digits"], written[match.end() :].strip()
    if rest[:1] in (".", ",") or (not comma and _MAY_PART_THOUSANDS.fullmatch(digits)):
        raise NotationError(
            f"“{plain(written)}” can be read in two ways; type a point before decimals, and "
            "nothing between thousands"
        )
    digits = digits.replace(",", ".")
    scale = Decimal(10) ** int(match["power"] or 0)
    step = Decimal(10) ** -len(digits.partition(".")[2]) * scale
    return Decimal(match["sign"] + digits) * scale, step, rest


def prefix_in(written: str) -> float | None:
    """Return what the prefix in ``written`` multiplies by; None for a number that stands alone."""
    written = normalise(written).strip()
    if (match := _LETTER_POINT.fullmatch(written)) is not None:
        return 10.0 ** PREFIXES.get(match["letter"], 0)
    read = read_number(written)
    if read is None or not read[2]:
        return None
    unit, scale = _unit_of(read[2], Unit("ohm"), written)
    return float(unit.factor * scale) if takes_prefix(unit) else 1.0


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
    """Return ``number`` with so many decimals; zero has no sign."""
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
    if head.lower() in _OVER_RANGE and (unit := find_unit(word)) is not None:
        return Value(inf, unit.si, overload=True)
    return None


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
        raise _unreadable(text, fallback)
    return found, Decimal(1)


def names_unit(word: str) -> bool:
    return word != "" and word not in PREFIXES


def _unreadable(text: str, wanted: Unit) -> NotationError:
    return NotationError(f"“{plain(text)}” cannot be read; {what_to_type(wanted.si)}")
