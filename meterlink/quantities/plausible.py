"""The gate that every value passes before it is judged: finite, of a size and sign that can be.

Whether a value came over a wire, from a capture, a table or the keyboard, it is held to the same.
"""

from math import isfinite
from typing import Final

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
