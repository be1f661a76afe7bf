"""The window of acceptable values, both ends included; and what stands for an over range."""

import math
from math import inf
from typing import Final

import msgspec

from meterlink.errors import NotationError


class Window(msgspec.Struct, frozen=True):
    """A closed interval in an SI unit; one end may be missing.

    Raises:
        NotationError: both ends are missing, one is not finite, or they are upside down.
    """

    low: float | None
    high: float | None
    unit: str = "ohm"

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise NotationError("give a lowest or a highest value, such as 0.7:1.0ohm")
        if not self.floor < inf or not self.ceiling > -inf:
            raise NotationError("the limits must be numbers")
        if self.floor > self.ceiling:
            raise NotationError(
                f"the limits are upside down: the lowest, {self.low:g} {self.unit}, is above the "
                f"highest, {self.high:g} {self.unit}; swap them"
            )

    @property
    def floor(self) -> float:
        """The lowest value, or minus infinity."""
        return -inf if self.low is None else self.low

    @property
    def ceiling(self) -> float:
        """The highest value, or infinity."""
        return inf if self.high is None else self.high

    def __contains__(self, value: float) -> bool:
        return self.floor <= value <= self.ceiling


OVER_WORDS: Final = frozenset(
    {"OL", "O.L", "0L", "OVL", "OVLD", "OVER", "OVERLOAD", "OVERFLOW", "OVERRANGE", "OFL"}
    | {"INF", "INFINITY", "OPEN", "----", "-----"}
)
"""Words for “over range”, upper case. INFinity is the standard's (SCPI-1999 volume 1, 7.2.1.4)."""

INFINITY: Final = 9.9e37
NOT_A_NUMBER: Final = 9.91e37

_CLOSE: Final = 1e-5
"""The two differ by 1e-3; a meter that counts in single precision rounds them by 1e-7."""


def real_value(number: float) -> float:
    """Return what ``number`` stands for: itself, an infinity, or not-a-number."""
    if abs(number) < 9.8e37:
        return number
    if math.isclose(abs(number), INFINITY, rel_tol=_CLOSE):
        return math.copysign(math.inf, number)
    if math.isclose(number, NOT_A_NUMBER, rel_tol=_CLOSE):
        return math.nan
    return number
