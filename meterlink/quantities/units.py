"""The units that the trade writes, and the SI unit that each stands for.

Inside the program every value is in one of the SI units of ``SI_UNITS``, by the name used in
files and JSON. Factors are exact decimals, built from the defining constants of the inch, the
pound and standard gravity (NIST SP 811, 2008 edition, appendix B).
"""

import unicodedata
from collections.abc import Iterator
from decimal import Decimal
from typing import Final

import msgspec

from meterlink.errors import NotationError

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
        raise NotationError(f"«{word}» is no unit known here; known are {', '.join(_examples())}")
    return unit


def takes_prefix(unit: Unit) -> bool:
    """Return whether a lone prefix can stand for the whole: ``4.7k``, yes for ohms, no for °C."""
    return unit.si in _TAKES_PREFIX.values()


def normalise(text: str) -> str:
    """Return ``text`` with look-alike signs made one: both ohm signs, micro signs and minuses."""
    text = unicodedata.normalize("NFKC", text)
    return text.replace("\N{GREEK SMALL LETTER MU}", "µ").replace("\N{MINUS SIGN}", "-")


def _examples() -> Iterator[str]:
    yield from ("ohm", "kohm", "V", "°C", "°F", "mm", "in", "thou", "N·m", "lbf·in", "lbf·ft")
    yield from ("kgf·m", "N", "s", "min")
