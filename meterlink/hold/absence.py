"""When are the probes off? Overload, or values that float where overload should be."""

from math import inf
from typing import Final

from meterlink.hold.policy import HoldPolicy

_LONG: Final = 0.55
"""Overloads in a row for this long, seconds, are the air, not a dropout or a range change ..."""
_MANY: Final = 4
"""... if they are at least this many."""

_AIR_TIMES: Final = 30.0
"""A resistance above this many times the held one may be the air."""


class Absence:
    """Readings without contact: a dropout at first, a lift when they go on.

    Some meters show values of megohms that wander instead of an overload while their probes are
    in the air. A resistance far above the held one then counts as no contact, unless the stream
    has shown that its air is an overload.
    """

    def __init__(self, policy: HoldPolicy) -> None:
        self._policy = policy
        self._count = 0
        self._lowest = inf
        self._in_a_row = 0
        self._first_over = 0.0
        self._overloads = False
        self.since = 0.0
        """Time of the first reading without contact, seconds."""
        self.air_from = inf
        """Resistances from here up are known to be the air."""

    def here(self) -> None:
        """A reading in contact."""
        self._count = 0

    def finite(self) -> None:
        """A reading that is no overload."""
        self._in_a_row = 0

    def over(self, t: float) -> None:
        """An overload at ``t``."""
        if not self._in_a_row:
            self._first_over = t
        self._in_a_row += 1
        if self._in_a_row >= _MANY and t - self._first_over >= _LONG:
            self._overloads = True
            if self._in_a_row >= 2 * _MANY and t - self._first_over >= 2 * _LONG:
                # So what was taken for the air was a value.
                self.air_from = inf

    def missing(self, t: float, interval: float, value: float = inf) -> bool:
        """Take a reading without contact; True when it makes a lift.

        Args:
            t: its time, seconds.
            interval: seconds between readings.
            value: what it showed; infinite for an overload.
        """
        policy = self._policy
        if not self._count:
            self.since, self._lowest = t, inf
        self._count += 1
        self._lowest = min(self._lowest, value)
        longest = policy.dropout_time
        if (
            self._count < policy.least_readings
            or t - self.since <= 1.1 * longest
            or (self._count - 1) * interval <= longest
        ):
            return False
        if self._lowest < inf:
            self.air_from = self._lowest / 3
        self._count = 0
        return True

    def far_above(self, value: float, held: float) -> bool:
        """Whether a resistance is so far above another that it is the air."""
        policy = self._policy
        return not self._overloads and value > policy.air_least and value > _AIR_TIMES * abs(held)

    def dropped(self, value: float) -> None:
        """What went before was the air at ``value``: remember its level."""
        self.air_from = value / 3
        self._count = 0
