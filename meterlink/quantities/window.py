"""The window: lowest and highest acceptable value, both ends included."""

from math import inf

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
            raise NotationError("a window needs a lowest or a highest value, such as 0.7:1.0ohm")
        if not self.floor < inf or not self.ceiling > -inf:
            raise NotationError("the ends of a window must be numbers")
        if self.floor > self.ceiling:
            raise NotationError(
                f"the window is upside down: its lowest value {self.low:g} {self.unit} is above "
                f"its highest {self.high:g} {self.unit}; swap them"
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
