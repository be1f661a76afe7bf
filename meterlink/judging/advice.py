"""What a technician can do about a verdict that is close, or a value that cannot be."""

from math import isfinite
from typing import Final

import msgspec

from meterlink.events import Limit
from meterlink.quantities.notation import format_value
from meterlink.quantities.units import below_zero, beyond_measure

_NO_LONGER: Final = "holding longer will not help"

LIVE: Final = (
    "No resistance is below zero. Make sure that the ignition is off and nothing is live, "
    "then check the meter with its probes together."
)


class Situation(msgspec.Struct, frozen=True, kw_only=True):
    """How a value was taken, as far as it changes what would help."""

    value: float = 0.0
    """As read, ohms."""
    lead_zero: bool = False
    """A lead zero was subtracted."""
    offset_in: bool = False
    """Two wires, and no lead zero of the same range: the meter's offset is in the value."""
    temperature_known: bool = True
    """Somebody took the winding's temperature."""
    accuracy_known: bool = True
    """Somebody declared the meter's accuracy."""
    leads_assumed: str = ""
    """Resistance that is assumed of leads not taken off, in words."""
    accuracy_assumed: str = ""
    """What is assumed of the meter's accuracy, in words."""


def advise(limit: Limit | None, edge: float, name: str, unit: str, how: Situation) -> str:
    """Return which limit the value is close to, what limits, and what to do about it."""
    near = f"Too close to the {name}, {format_value(edge, unit)}, to be sure"
    return f"{near}." if limit is None else f"{near}: {_remedy(limit, how)}"


def _remedy(limit: Limit, how: Situation) -> str:
    if limit is Limit.NOISE:
        return "the reading is unsteady. Clean the contacts, press firmly and hold longer."
    why, mend = _undeclared(limit, how) or _WHY_AND_MEND[limit]
    if limit is Limit.METER and how.accuracy_known and how.offset_in:
        mend = "Take the lead zero on this range, or choose a finer range"
    return f"{why}. {mend}; {_NO_LONGER}."


_WHY_AND_MEND: Final = {
    Limit.RESOLUTION: ("the meter's last digit limits", "Choose a finer range"),
    Limit.METER: (
        "the meter's accuracy limits",
        "Choose a finer range, or use a better meter",
    ),
    Limit.CONTACT: (
        "contact of the tips limits",
        "Clean the spots to bright metal, or use four wires where the meter can",
    ),
    Limit.EMF: (
        "thermal voltages at the tips limit",
        "Let part and tips come to one temperature, and measure again with the leads swapped",
    ),
    Limit.LEADS: (
        "the lead zero limits",
        "Take it again on this range, or use four wires where the meter can",
    ),
    Limit.TEMPERATURE: (
        "the winding's temperature limits",
        "Let the winding come to room temperature, and enter that",
    ),
    Limit.SERIES: (
        "the tolerance of the cap or suppressor limits",
        "Take it off, or measure it by itself",
    ),
}


def _undeclared(limit: Limit, how: Situation) -> tuple[str, str] | None:
    """Return what limits and what helps where a fact that nobody declared is what limits."""
    match limit:
        case Limit.METER if not how.accuracy_known:
            return (
                f"the meter's accuracy is not declared ({how.accuracy_assumed} is assumed)",
                "Declare it as the meter's manual has it, or choose a finer range",
            )
        case Limit.LEADS if not how.lead_zero and how.leads_assumed:
            return f"{how.leads_assumed} is assumed of the leads", "Take the lead zero"
        case Limit.TEMPERATURE if not how.temperature_known:
            return (
                "nobody took the winding's temperature, which limits",
                "Measure and enter it",
            )
    return None


def unphysical(how: Situation) -> str:
    """Return one sentence on a resistance that comes out below zero beyond its uncertainty."""
    if how.value >= 0 and how.lead_zero and how.offset_in:
        return (
            "Take the lead zero again on this range: it came from another, whose last digit may be "
            "larger than the reading."
        )
    if how.value >= 0 and how.lead_zero:
        return (
            "Hold the tips firmly together and take the lead zero again: it is larger than the "
            "reading."
        )
    return LIVE


def why_implausible(value: float, unit: str, resolution: float = 0.0) -> str:
    """Return in a sentence why ``value`` cannot have been measured; empty where it can."""
    if beyond_measure(value, unit):
        shown = f"{value:g} {unit}" if isfinite(value) else "no number"
        return f"{shown} is more than any meter measures: see what sent it."
    if below_zero(value, unit, resolution):
        return f"{format_value(value, unit, resolution or None)} was read. {LIVE}"
    return ""


def reads_like(name: str, value: float) -> str:
    """Return one sentence on a value that fits another part of the engine far better."""
    return (
        f"{format_value(value, 'ohm')} reads like the {name} winding. Check both probes, lift and "
        "touch again."
    )


def beyond_range(full_scale: float, needed: float, unit: str) -> str:
    """Return one sentence on an over range that a larger range would have measured."""
    return (
        f"Choose a range that reaches {format_value(needed, unit)}: over range here only says more "
        f"than {format_value(full_scale, unit)}."
    )
