"""What a technician can do about a verdict that is close, or a value that cannot be."""

from math import isfinite
from typing import Final

import msgspec

from meterlink.events import Limit
from meterlink.quantities.notation import format_value
from meterlink.quantities.plausible import below_zero, beyond_measure

_NO_LONGER: Final = "holding longer will not help"

LIVE: Final = (
    "A resistance below zero cannot be: make sure that the ignition is off and nothing is live, "
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
    """Return one sentence: which limit the value is close to, what limits, what would help."""
    near = f"Too close to the {name}, {format_value(edge, unit)}, to be sure"
    return f"{near}." if limit is None else f"{near}: {_remedy(limit, how)}."


def _remedy(limit: Limit, how: Situation) -> str:
    if (unknown := _undeclared(limit, how)) is not None:
        return unknown
    match limit:
        case Limit.NOISE:
            return (
                "the unsteady reading is what limits; clean the contacts, press the tips firmly "
                "and hold longer"
            )
        case Limit.RESOLUTION:
            return (
                f"the meter's last digit is what limits, not the noise, so {_NO_LONGER}; choose a "
                "finer range"
            )
        case Limit.METER if how.offset_in:
            return (
                f"the meter's accuracy is what limits, not the noise, so {_NO_LONGER}; take the "
                "lead zero on the range that measures, which takes the meter's offset out too, or "
                "choose a finer range"
            )
        case Limit.METER:
            return (
                f"the meter's accuracy is what limits, not the noise, so {_NO_LONGER}; choose a "
                "finer range or use a better meter"
            )
        case Limit.CONTACT:
            return (
                f"what the tips add on the work is what limits, so {_NO_LONGER}; clean the spots "
                "to bright metal, or use four wires where the meter can"
            )
        case Limit.EMF:
            return (
                f"thermal voltages at the tips are what limits, so {_NO_LONGER}; let part and tips "
                "come to one temperature, and measure once more with the leads swapped"
            )
        case Limit.LEADS:
            return (
                f"the lead zero is what limits, so {_NO_LONGER}; take it again on the range that "
                "measures, or use four wires where the meter can"
            )
        case Limit.TEMPERATURE:
            return (
                f"the winding's temperature is what limits, so {_NO_LONGER}; let it come to the "
                "temperature of the room, then measure and enter that"
            )
        case Limit.SERIES:
            return (
                f"the tolerance of the cap or suppressor in line is what limits, so {_NO_LONGER}; "
                "take it off or measure it by itself"
            )


def _undeclared(limit: Limit, how: Situation) -> str | None:
    """Return what would help where a fact that nobody declared is what limits."""
    match limit:
        case Limit.METER if not how.accuracy_known:
            return (
                f"the meter's accuracy is not declared, and {how.accuracy_assumed} is assumed, so "
                f"{_NO_LONGER}; declare it as its manual has it, or choose a finer range"
            )
        case Limit.LEADS if not how.lead_zero and how.leads_assumed:
            return (
                f"leads not taken off: take the lead zero, as {how.leads_assumed} is assumed for "
                f"them and {_NO_LONGER}"
            )
        case Limit.TEMPERATURE if not how.temperature_known:
            return (
                f"the winding's temperature, which nobody took, is what limits, so {_NO_LONGER}; "
                "measure it and enter it"
            )
    return None


def unphysical(how: Situation) -> str:
    """Return one sentence on a resistance that comes out below zero beyond its uncertainty."""
    if how.value >= 0 and how.lead_zero and how.offset_in:
        return (
            "The lead zero was taken on another range, whose last digit or offset may be larger "
            "than the reading: take the lead zero again on the range that measures."
        )
    if how.value >= 0 and how.lead_zero:
        return (
            "The lead zero is larger than the reading, which cannot be: hold the tips firmly "
            "together and take the lead zero again."
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
        f"{format_value(value, 'ohm')} reads like the {name} winding: see where both probes are, "
        "lift and touch again."
    )


def beyond_range(full_scale: float, needed: float, unit: str) -> str:
    """Return one sentence on an over range that a larger range would have measured."""
    return (
        f"Over range only says more than {format_value(full_scale, unit)}, where the meter's range "
        f"ends: choose a range that reaches {format_value(needed, unit)}."
    )
