"""What a technician can do about a verdict that is close, in a sentence."""

from typing import Final

from meterlink.events import Limit
from meterlink.notation import format_value

_FASTER: Final = "holding longer will not help"

REMEDIES: Final = {
    Limit.NOISE: (
        "the unsteady reading is what limits; clean the contacts, press the tips firmly and "
        "hold longer"
    ),
    Limit.RESOLUTION: (
        f"the meter's last digit is what limits, not the noise, so {_FASTER}; choose a finer range"
    ),
    Limit.METER: (
        f"the meter's accuracy is what limits, not the noise, so {_FASTER}; choose a finer range, "
        "take the lead zero on that same range, or use a better meter"
    ),
    Limit.LEADS: (
        f"the test leads are what limits, so {_FASTER}; take the lead zero again on the range that "
        "measures, or use four wires where the meter can"
    ),
    Limit.TEMPERATURE: (
        f"the winding's temperature is what limits, so {_FASTER}; let it come to the temperature "
        "of the room, then measure and enter that"
    ),
    Limit.SERIES: (
        f"the tolerance of the cap or suppressor in line is what limits, so {_FASTER}; take it off "
        "or measure it by itself"
    ),
}
"""What would help, by what limits."""


def advise(limit: Limit | None, edge: float, name: str, unit: str) -> str:
    """Return one sentence: which limit the value is close to, what limits, what would help."""
    near = f"Too close to the {name}, {format_value(edge, unit)}, to be sure"
    return f"{near}: {REMEDIES[limit]}." if limit is not None else f"{near}."
