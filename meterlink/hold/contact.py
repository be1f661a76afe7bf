"""When do the probes touch something? The stages of a touch, and when it has ended.

Overload is the air, or a dropout; so are values that float where overload should be.
"""

from enum import Enum
from math import inf, isfinite
from typing import Final

from meterlink.events import PassedOver
from meterlink.hold.policy import HoldPolicy

_LONG: Final = 0.55
"""Overloads in a row for this long, seconds, are the air, not a dropout or a range change ..."""
_MANY: Final = 4
"""... if they are at least this many."""

_AIR_TIMES: Final = 30.0
"""A resistance above this many times the held one may be the air."""
_CLOCK_READINGS: Final = 8
"""This many readings in order, all before the newest one, are a clock that was set back."""


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


class Unusable:
    """What of a stream cannot be used, counted by its reason until it is said."""

    def __init__(self) -> None:
        self._counts: dict[str, int] = {}
        self._back_t = inf
        self._back_count = 0

    def add(self, why: str) -> None:
        """Count one."""
        self._counts[why] = self._counts.get(why, 0) + 1

    def say(self, t: float) -> list[PassedOver]:
        """Return what was counted, as events at ``t``, and begin again."""
        said = [PassedOver(t=t, why=why, count=count) for why, count in self._counts.items()]
        self._counts.clear()
        return said

    def is_clock_set_back(self, t: float, newest: float) -> bool:
        """Take a time that is no later than the ``newest``; True for enough of them in order."""
        if t == newest:
            self.add("time repeated")
            return False
        if not isfinite(t):
            self.add("time not-a-number")
            return False
        if t != self._back_t:
            self._back_count = self._back_count + 1 if t > self._back_t else 1
        self._back_t = t
        if self._back_count < _CLOCK_READINGS:
            self.add("time went back")
            return False
        self._back_t, self._back_count = inf, 0
        return True
