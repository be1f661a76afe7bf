"""Numbers whose type says what they are; all are plain floats at run time.

Three kinds of ohms that a type checker keeps apart: only ``judging.correction`` turns one into the
next, so a value that still holds the leads cannot be judged as if it did not. And the numbers with
a unit that a person declares in a file, which ``meterlink.declared`` reads.

Every value, whether it came over a wire, from a capture, a table or the keyboard, passes one gate
before it is judged: finite, of a size and sign that can be.
"""

from math import isfinite
from typing import ClassVar, Final, NewType

AsRead = NewType("AsRead", float)
"""As the meter showed it, steadied: leads and all, at whatever temperature."""

LeadCorrected = NewType("LeadCorrected", float)
"""Without the test leads."""

AtReference = NewType("AtReference", float)
"""A winding alone, at the reference temperature of its window."""


class Declared(float):
    """A number with its unit, as a person wrote it; the float is in SI units."""

    unit: ClassVar[str]
    example: ClassVar[str]


class Ohms(Declared):
    """A resistance."""

    unit = "ohm"
    example = "0.7 ohm"


class Volts(Declared):
    """A voltage."""

    unit = "volt"
    example = "10 uV"


class Celsius(Declared):
    """A temperature."""

    unit = "celsius"
    example = "20 celsius"


class Metres(Declared):
    """A length."""

    unit = "metre"
    example = "0.25 mm"


class NewtonMetres(Declared):
    """A torque."""

    unit = "newton-metre"
    example = "9.5 N·m"


class Seconds(Declared):
    """A time."""

    unit = "second"
    example = "30 s"


LARGEST: Final = {
    "ohm": 1e13,
    "volt": 1e6,
    "ampere": 1e5,
    "celsius": 1e4,
    "farad": 1e3,
    "hertz": 1e12,
}
"""More than any meter measures, by SI unit; a larger number is a fault of whoever sent it."""

BELOW_ZERO: Final = -0.1
"""Ohms; a meter with its tips together may read a little below zero, and no more than that."""
ZERO_STEPS: Final = 5.0
"""Steps of the last digit that a meter may be off at zero: on a range for megohms that is tens
of ohms."""


def beyond_measure(value: float, unit: str) -> bool:
    """Return whether no meter can have measured ``value``: not finite, or too large."""
    return not isfinite(value) or abs(value) > LARGEST.get(unit, 1e15)


def below_zero(value: float, unit: str, resolution: float) -> bool:
    """Return whether a resistance lies farther below zero than a meter may be off there."""
    return unit == "ohm" and value < BELOW_ZERO - ZERO_STEPS * resolution
