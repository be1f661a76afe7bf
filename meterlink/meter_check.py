"""Is the meter fit to judge with? A check against a known resistor."""

import re
from collections.abc import Sequence
from typing import Final

import msgspec

from meterlink.assess import Assessor
from meterlink.budget import Budget, Component, rectangular
from meterlink.colour_code import is_bands, parse_bands
from meterlink.correction import LeadZero
from meterlink.criterion import Criterion
from meterlink.errors import NotationError
from meterlink.events import Held
from meterlink.notation import parse_as
from meterlink.source import Accuracy
from meterlink.text import plain
from meterlink.window import Window


class KnownResistor(msgspec.Struct, frozen=True, kw_only=True):
    """A resistor whose value is known from its marking or certificate."""

    ohms: float
    tolerance: float
    """Percent of ``ohms``, either way: a rectangular half-width."""
    marking: str = ""
    """As it was given, made plain."""


_LONGEST: Final = 80
_VALUE_AND_TOLERANCE: Final = re.compile(
    r"(?P<value>.+?)[\s,;±]+(?P<tolerance>[0-9]*\.?[0-9]+)\s*%"
)


def parse_known_resistor(text: str) -> KnownResistor:
    """Return the resistor that ``text`` tells: ``4.7 kohm 1%`` or ``yellow violet red gold``.

    Raises:
        NotationError: says what was expected.
    """
    text = text.strip()
    if len(text) > _LONGEST:
        raise NotationError(f"a known resistor is told in up to {_LONGEST} characters")
    if is_bands(text):
        ohms, tolerance = parse_bands(text)
    elif (match := _VALUE_AND_TOLERANCE.fullmatch(text)) is not None:
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
    return KnownResistor(ohms=ohms, tolerance=tolerance, marking=plain(text))


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
    def passed(self) -> bool:
        """Meter and marking agree within their uncertainties."""
        return abs(self.share) <= 1

    @property
    def relative_error(self) -> float:
        """The error over the marked value: what the control chart follows."""
        return self.error / self.resistor.ohms


def check_meter(
    resistor: KnownResistor,
    held: Held,
    accuracy: Sequence[Accuracy] = (),
    lead_zero: LeadZero | None = None,
    *,
    four_wire: bool = False,
    full_scale: float | None = None,
) -> MeterCheck:
    """Return the check of a meter that showed ``held`` on ``resistor``.

    Raises:
        NotationError: what was held is not in ohms.
    """
    if held.unit != "ohm":
        raise NotationError(f"the meter shows {held.unit}; turn it to resistance for the check")
    spread = resistor.ohms * resistor.tolerance / 100
    window = Window(resistor.ohms - spread, resistor.ohms + spread)
    assessor = Assessor(
        Criterion.part(window), accuracy, lead_zero, four_wire=four_wire, full_scale=full_scale
    )
    assessment = assessor.assess(held)
    value = assessor.correct(held.value)
    marking = Component(name="resistor", u=rectangular(spread))
    return MeterCheck(
        resistor=resistor,
        value=value,
        error=value - resistor.ohms,
        budget=Budget((*assessment.budget.components, marking)),
        notes=assessment.notes,
    )
