"""One value from the meter.

Readings are made a thousand times a second, so this is a ``msgspec.Struct``: as strict and
readable as a dataclass, ten times as cheap to make.
"""

from enum import Enum

import msgspec


class Quantity(Enum):
    """What a meter can be set to. The value is the word in files and JSON."""

    RESISTANCE = "resistance"
    VOLTAGE = "voltage"
    CURRENT = "current"
    CONTINUITY = "continuity"
    DIODE = "diode"
    CAPACITANCE = "capacitance"
    FREQUENCY = "frequency"
    TEMPERATURE = "temperature"

    @property
    def unit(self) -> str:
        """The SI unit's name as written in files: ``ohm``, ``volt``, ``celsius`` ..."""
        return _UNITS[self]


_UNITS = {
    Quantity.RESISTANCE: "ohm",
    Quantity.VOLTAGE: "volt",
    Quantity.CURRENT: "ampere",
    Quantity.CONTINUITY: "ohm",
    Quantity.DIODE: "volt",
    Quantity.CAPACITANCE: "farad",
    Quantity.FREQUENCY: "hertz",
    Quantity.TEMPERATURE: "celsius",
}


class Reading(msgspec.Struct, frozen=True, gc=False):
    """One value from the meter, as read: neither steadied nor corrected."""

    t: float
    """Seconds since the start of the capture; never wall time."""
    value: float
    """SI units. Infinite when ``overload``; not-a-number where the meter sent that."""
    quantity: Quantity = Quantity.RESISTANCE
    resolution: float | None = None
    """Step of the last digit, SI units; None where neither meter nor digits tell."""
    overload: bool = False
    """The meter says that the value is over its range."""
    raw: str = ""
    """What the meter sent, already made plain (see ``text.plain``)."""
    flags: tuple[str, ...] = ()
    """What the meter says of itself beside the value, such as ``hold`` or ``battery_low``: the
    names of ``meter_state.MEANINGS``, in their order."""
