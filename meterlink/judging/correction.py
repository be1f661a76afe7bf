"""Corrections of a resistance: the leads, what lies in series, and the temperature of copper.

    R_ref = (R_read - R_lead - R_series) * (k + T_ref) / (k + T)

with k = 235 for copper (IEC 60034-1, winding temperature by resistance). North American practice
takes k = 234.5; between 0 and 40 °C the two differ by under 0.02 %.
"""

from typing import Final

import msgspec

from meterlink.errors import NotationError
from meterlink.quantities.units import AsRead, AtReference, LeadCorrected

COPPER_K: Final = 235.0
"""Degrees Celsius below zero at which the straight line of copper's resistance meets zero."""

REFERENCE: Final = 20.0
"""Degrees Celsius that a window holds for where nobody says otherwise."""


class LeadZero(msgspec.Struct, frozen=True, kw_only=True):
    """The resistance of the leads, taken with the probes together."""

    value: float
    """Ohms."""
    u: float = 0.0
    """Standard uncertainty by repeatability, ohms."""
    dof: float = float("inf")
    resolution: float = 0.0
    """Step of the last digit while it was taken, ohms; 0 where it is not known."""
    range: float | None = None
    """Full scale of the meter's range while it was taken, ohms; None where it is not known."""
    typed: bool = False
    """Typed by hand, where 0.1 may stand for 0.100: no coarser than the reading it comes off."""

    def digit(self, reading: float) -> float:
        """Return the step of its last digit, ohms, where that of the reading is ``reading``."""
        if self.typed and reading:
            return min(self.resolution, reading) or reading
        return self.resolution or reading


class Temperature(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of a winding's temperature."""

    celsius: float
    half_width: float = 2.0
    """Kelvins: it lies within this of ``celsius``, no value in between likelier than another."""
    known: bool = True
    """False where this is an assumption."""

    def __post_init__(self) -> None:
        if not self.half_width >= 0.0:
            raise NotationError("how far off a temperature may be is zero kelvins or more")
        half = self.half_width
        for celsius in (self.celsius, self.celsius - half, self.celsius + half):
            require_sensible(celsius)


def require_sensible(celsius: float) -> None:
    """Check that a winding can have this temperature.

    Raises:
        NotationError: it is colder than any workshop or hotter than any winding stands.
    """
    if not -100.0 <= celsius <= 300.0:
        raise NotationError(
            f"{celsius:g} °C is no temperature of a winding; expected -100 to 300 °C"
        )


UNKNOWN_TEMPERATURE: Final = Temperature(celsius=20.0, half_width=20.0, known=False)
"""Assumed of a winding whose temperature nobody took: a bench anywhere from 0 to 40 °C."""


def without_leads(read: AsRead, zero: LeadZero | None) -> LeadCorrected:
    """Return ``read`` less the lead zero; less than zero where the zero is the larger."""
    return LeadCorrected(read if zero is None else read - zero.value)


def copper_ratio(celsius: float, to: float, k: float = COPPER_K) -> float:
    """Return the resistance of copper at ``to`` over that at ``celsius``."""
    return (k + to) / (k + celsius)


def at_reference(
    resistance: LeadCorrected,
    celsius: float,
    reference: float = REFERENCE,
    *,
    series: float = 0.0,
    k: float = COPPER_K,
) -> AtReference:
    """Return the winding in ``resistance`` at ``reference``, taken while it was at ``celsius``.

    ``series`` is resistance in line with it that is not copper, ohms: it comes off first.
    """
    return AtReference((resistance - series) * copper_ratio(celsius, reference, k))


def as_found(
    winding: AtReference,
    celsius: float,
    reference: float = REFERENCE,
    *,
    series: float = 0.0,
    k: float = COPPER_K,
) -> LeadCorrected:
    """Return what a winding of this value would show at ``celsius``: undoes ``at_reference``."""
    return LeadCorrected(winding * copper_ratio(reference, celsius, k) + series)


def with_leads(resistance: LeadCorrected, zero: LeadZero | None) -> AsRead:
    """Return what the meter would show through the leads: undoes ``without_leads``."""
    return AsRead(resistance if zero is None else resistance + zero.value)


def winding_temperature(
    now: LeadCorrected, then: LeadCorrected, celsius: float, k: float = COPPER_K
) -> float:
    """Return the temperature of a winding now, from its resistance ``then`` at ``celsius``.

    The resistance method of IEC 60034-1.

    Raises:
        NotationError: one of the resistances is zero or less.
    """
    if not (now > 0 and then > 0):
        raise NotationError("a winding temperature needs two resistances above zero")
    return now / then * (k + celsius) - k
