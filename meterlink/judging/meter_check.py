"""Is the meter fit to judge with? A check against a resistor whose value is known.

Known by its colour bands, its marking or its certificate.
"""

import re
from collections.abc import Sequence
from typing import Final

import msgspec

from meterlink.errors import NotationError
from meterlink.events import Held
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.assumed import NOTHING_SAID, Assumed
from meterlink.judging.correction import LeadZero
from meterlink.judging.criterion import Criterion
from meterlink.quantities.budget import Budget, spread
from meterlink.quantities.notation import parse_as
from meterlink.quantities.text import plain
from meterlink.quantities.window import Window

DIGITS: Final = {
    "black": 0,
    "brown": 1,
    "red": 2,
    "orange": 3,
    "yellow": 4,
    "green": 5,
    "blue": 6,
    "violet": 7,
    "grey": 8,
    "white": 9,
}
"""Value of a band among the first two or three, and power of ten of the band after them."""

MULTIPLIERS: Final = DIGITS | {"gold": -1, "silver": -2, "pink": -3}
"""Power of ten."""

TOLERANCES: Final = {
    "brown": 1.0,
    "red": 2.0,
    "orange": 0.05,
    "yellow": 0.02,
    "green": 0.5,
    "blue": 0.25,
    # Printed tables disagree on these two; as remembered from the edition of 2016.
    "violet": 0.1,
    "grey": 0.01,
    "gold": 5.0,
    "silver": 10.0,
}
"""Percent, either way."""

NO_BAND: Final = 20.0
"""Percent, where there is no tolerance band."""

_OTHER_NAMES: Final = {"gray": "grey", "purple": "violet"}


def is_bands(text: str) -> bool:
    """Return whether ``text`` begins with the name of a colour."""
    first = _words(text)[:1]
    return bool(first) and (first[0] in MULTIPLIERS)


def parse_bands(text: str) -> tuple[float, float]:
    """Return ohms and tolerance in percent of bands such as ``yellow violet red gold``.

    Three bands have no tolerance band; four have two digits, five three; a sixth, for the
    temperature coefficient, is read over. The end nearest to the bands comes first.

    Raises:
        NotationError: a colour is unknown, or stands where it has no meaning.
    """
    bands = _words(text)
    if not 3 <= len(bands) <= 6:
        raise NotationError(f"“{plain(text)}” has {len(bands)} bands; a resistor has 3 to 6")
    many = 2 if len(bands) <= 4 else 3
    number = 0
    for band in bands[:many]:
        number = 10 * number + int(_look_up(band, DIGITS, "a digit", text))
    power = int(_look_up(bands[many], MULTIPLIERS, "a multiplier", text))
    tolerance = NO_BAND
    if len(bands) > 3:
        tolerance = _look_up(bands[many + 1], TOLERANCES, "a tolerance", text)
    if len(bands) == 6:
        _look_up(bands[5], MULTIPLIERS, "a temperature coefficient", text)
    if number == 0:
        raise NotationError(f"“{plain(text)}” is zero ohms; a meter check needs a resistor")
    # Through text, so that 47 and 10**-1 give 4.7 to the last bit.
    return float(f"{number}e{power}"), tolerance


def _words(text: str) -> list[str]:
    words = text.lower().replace(",", " ").replace("-", " ").split()
    return [_OTHER_NAMES.get(word, word) for word in words]


def _look_up(band: str, table: dict[str, int] | dict[str, float], place: str, text: str) -> float:
    if band not in table:
        raise NotationError(
            f"“{plain(band)}” is not the colour of {place} in “{plain(text)}”; "
            f"expected one of {', '.join(table)}"
        )
    return table[band]


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
                f"“{plain(text)}” is no resistor; expected a value above zero and a tolerance "
                "of up to 100 %"
            )
    else:
        raise NotationError(
            f"“{plain(text)}” is no known resistor; expected value and tolerance such as "
            "“4.7 kohm 1%”, or its colour bands such as “yellow violet red gold”"
        )
    return KnownResistor(ohms=ohms, tolerance=tolerance, marking=plain(text), name=plain(name))


class MeterCheck(msgspec.Struct, frozen=True, kw_only=True):
    """The outcome of one check."""

    resistor: KnownResistor
    value: float
    """Measured, less the leads, ohms."""
    error: float
    """Measured less marked, ohms."""
    budget: Budget
    """Of ``error``: meter, leads, repeatability and the resistor's own tolerance."""
    notes: tuple[str, ...] = ()

    @property
    def share(self) -> float:
        """The error as a share of its expanded uncertainty: passes up to one either way.

        The normalised error E_n of proficiency testing (ISO 13528), the resistor's marking
        standing for the reference laboratory.
        """
        return self.error / self.budget.expanded

    @property
    def sees(self) -> float:
        """The smallest error that this check could tell from none, over the marked value.

        The marking's own tolerance is in it: a 5 % resistor shows no error of the meter below that.
        """
        return self.budget.expanded / self.resistor.ohms

    @property
    def passed(self) -> bool:
        """Meter and marking agree within their uncertainties."""
        return abs(self.share) <= 1


def check_meter(
    resistor: KnownResistor,
    held: Held,
    accuracy: Sequence[Accuracy] = (),
    lead_zero: LeadZero | None = None,
    *,
    four_wire: bool = False,
    full_scale: float | None = None,
    assumed: Assumed = NOTHING_SAID,
) -> MeterCheck:
    """Return the check of a meter that showed ``held`` on ``resistor``.

    Raises:
        NotationError: what was held is not in ohms.
    """
    if held.unit != "ohm":
        raise NotationError(f"the meter shows {held.unit}; turn it to resistance for the check")
    width = resistor.ohms * resistor.tolerance / 100
    window = Window(resistor.ohms - width, resistor.ohms + width)
    assessor = Assessor(
        Criterion.part(window),
        accuracy,
        lead_zero,
        four_wire=four_wire,
        full_scale=full_scale,
        assumed=assumed,
    )
    assessment = assessor.assess(held)
    value = assessor.correct(held.value)
    marking = spread("resistor", width)
    return MeterCheck(
        resistor=resistor,
        value=value,
        error=value - resistor.ohms,
        budget=Budget((*assessment.budget.components, marking)),
        notes=assessment.notes,
    )
