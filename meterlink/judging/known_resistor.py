"""A resistor whose value is known from its marking or certificate, as a person tells it."""

import re
from typing import Final

import msgspec

from meterlink.errors import NotationError
from meterlink.quantities.colour_code import is_bands, parse_bands
from meterlink.quantities.notation import parse_as
from meterlink.quantities.text import plain


class KnownResistor(msgspec.Struct, frozen=True, kw_only=True):
    """A resistor whose value is known from its marking or certificate."""

    ohms: float
    tolerance: float
    """Percent of ``ohms``, either way: a rectangular half-width."""
    marking: str = ""
    """As it was given, made plain."""
    name: str = ""
    """Its own, where there is one: two resistors of one marking differ by their tolerance."""


_LONGEST: Final = 80
_VALUE_AND_TOLERANCE: Final = re.compile(
    r"(?P<value>.+?)[\s,;±]+(?P<tolerance>[0-9]*\.?[0-9]+)\s*%"
)


def parse_known_resistor(text: str) -> KnownResistor:
    """Return the resistor that ``text`` tells: ``4.7 kohm 1%`` or ``yellow violet red gold``.

    A name of its own may follow a hash sign: ``4.7 kohm 1% #R2``.

    Raises:
        NotationError: says what was expected.
    """
    text = text.strip()
    if len(text) > _LONGEST:
        raise NotationError(f"a known resistor is told in up to {_LONGEST} characters")
    said, _, name = (part.strip() for part in text.partition("#"))
    if is_bands(said):
        ohms, tolerance = parse_bands(said)
    elif (match := _VALUE_AND_TOLERANCE.fullmatch(said)) is not None:
        value = parse_as(match["value"].strip(), "ohm")
        ohms, tolerance = value.value, float(match["tolerance"])
        if value.overload or not ohms > 0 or not 0 < tolerance <= 100:
            raise NotationError(
                f"«{plain(text)}» is no resistor; expected a value above nought and a tolerance "
                "of up to 100 %"
            )
    else:
        raise NotationError(
            f"«{plain(text)}» is no known resistor; expected value and tolerance such as "
            "«4.7 kohm 1%», or its colour bands such as «yellow violet red gold»"
        )
    return KnownResistor(ohms=ohms, tolerance=tolerance, marking=plain(text), name=plain(name))
