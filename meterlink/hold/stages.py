"""The stages of a touch."""

from enum import Enum


class Stage(Enum):
    """Where the current touch stands. The value is the word in JSON."""

    APART = "apart"
    """The probes are off, or on something that the meter reads as over range."""
    CONTACT = "contact"
    """The probes just met something; too early to say anything."""
    SETTLING = "settling"
    """A value is there, and still moving or not yet certain."""
    HELD = "held"
    """The value of this touch stands; lift the probes."""
