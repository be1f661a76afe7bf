"""What a technician can do about a verdict that is close, in a sentence."""

from typing import Final

import msgspec

from meterlink.events import Limit
from meterlink.quantities.notation import format_value

_NO_LONGER: Final = "holding longer will not help"


class Situation(msgspec.Struct, frozen=True, kw_only=True):
    """How a value was taken, as far as it changes what would help."""

    lead_zero: bool = False
    """A lead zero was subtracted."""
    offset_in: bool = False
    """Two wires, and no lead zero of the same range: the meter's offset is in the value."""
    temperature_known: bool = True
    """Somebody took the winding's temperature."""


def advise(limit: Limit | None, edge: float, name: str, unit: str, how: Situation) -> str:
    """Return one sentence: which limit the value is close to, what limits, what would help."""
    near = f"Too close to the {name}, {format_value(edge, unit)}, to be sure"
    return f"{near}." if limit is None else f"{near}: {_remedy(limit, how)}."


def _remedy(limit: Limit, how: Situation) -> str:
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
        case Limit.LEADS:
            return (
                f"the lead zero is what limits, so {_NO_LONGER}; take it again on the range that "
                "measures, or use four wires where the meter can"
            )
        case Limit.TEMPERATURE if how.temperature_known:
            return (
                f"the winding's temperature is what limits, so {_NO_LONGER}; let it come to the "
                "temperature of the room, then measure and enter that"
            )
        case Limit.TEMPERATURE:
            return (
                f"the winding's temperature, which nobody took, is what limits, so {_NO_LONGER}; "
                "measure it and enter it"
            )
        case Limit.SERIES:
            return (
                f"the tolerance of the cap or suppressor in line is what limits, so {_NO_LONGER}; "
                "take it off or measure it by itself"
            )


def below_nought(how: Situation) -> str:
    """Return one sentence on a resistance that comes out below nought beyond its uncertainty."""
    if how.lead_zero:
        return (
            "The lead zero is larger than the reading, which cannot be: hold the tips firmly "
            "together and take the lead zero again."
        )
    return (
        "A resistance below nought cannot be: make sure that the ignition is off and nothing is "
        "live, then check the meter with its probes together."
    )


def beyond_range(full_scale: float, needed: float, unit: str) -> str:
    """Return one sentence on an over range that a larger range would have measured."""
    return (
        f"Over range only says more than {format_value(full_scale, unit)}, where the meter's range "
        f"ends: choose a range that reaches {format_value(needed, unit)}."
    )
