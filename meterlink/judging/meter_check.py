"""Is the meter fit to judge with? A check against a known resistor."""

from collections.abc import Sequence

import msgspec

from meterlink.errors import NotationError
from meterlink.events import Held
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.assumed import NOTHING_SAID, Assumed
from meterlink.judging.correction import LeadZero
from meterlink.judging.criterion import Criterion
from meterlink.judging.known_resistor import KnownResistor, parse_known_resistor
from meterlink.quantities.budget import Budget, spread
from meterlink.quantities.window import Window

__all__ = ["KnownResistor", "MeterCheck", "check_meter", "parse_known_resistor"]


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
