"""Numbers whose type says what they are; all are plain floats at run time.

Three kinds of ohms that a type checker keeps apart: only ``judging.correction`` turns one into the
next, so a value that still holds the leads cannot be judged as if it did not. And the numbers with
a unit that a person declares in a file, which ``meterlink.declared`` reads.
"""

from typing import ClassVar, NewType

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
