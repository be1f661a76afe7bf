"""Probe gestures: the tips tapped together.

A tap is a short touch that reads as the leads alone, too short to be held. Two of them with a
pause spent on the work say that the leads were whole all along: an over range in between was a
real open. Two in quick succession say: this step again.
"""

from enum import Enum
from math import inf
from typing import Final

from meterlink.events import Contact, Held, Lift, TouchEvent
from meterlink.quantities.units import ZERO_STEPS
from meterlink.reading import Reading

LONGEST_S: Final = 1.5
"""A touch that lasts longer is no tap but a reading near zero."""
ABOVE_LEADS: Final = 0.15
"""Ohms above the lead zero that still are the tips alone."""
LEADS_UNKNOWN: Final = 0.3
"""Ohms allowed for the leads where no lead zero was taken."""
FEWEST: Final = 3
"""Readings of the tips alone that make a tap."""
MEET_S: Final = 0.25
"""While the tips meet and the meter settles, readings of anything else say nothing."""
BOUNCES: Final = 2
"""Other readings that a tap may have after that."""
NEAR_SHARE: Final = 0.5
"""Share of the lowest good value that a reading above the leads must stay below to be the tips."""
AGAIN_WITHIN_S: Final = 1.0
"""Two taps closer than this mean “again”."""
OPEN_AFTER_S: Final = 1.5
"""Between two taps, the work is touched at least so long before an over range counts."""
OPEN_WITHIN_S: Final = 15.0
"""Taps farther apart have nothing to do with each other."""


class Gesture(Enum):
    """What the taps said."""

    AGAIN = "again"
    OPEN = "open"


class Taps:
    """Takes touch events, and readings while ``watching``; says when they make a gesture."""

    def __init__(self, lead_zero: float | None, lowest: float | None = None) -> None:
        """Know the leads by ``lead_zero`` and the part by its ``lowest`` good value, both ohms.

        A part that may well read next to nothing cannot be told from the tips, so that nothing
        then counts as a tap.
        """
        self._leads = LEADS_UNKNOWN if lead_zero is None else lead_zero
        self._most = inf if lowest is None else NEAR_SHARE * lowest
        self.count = True
        """Whether taps count; without them every held value is judged as it is."""
        self.watching = False
        """Whether the current touch may be a tap, so that its readings matter."""
        self._tips = self._other = 0
        self._met_t = 0.0
        self._last_tap: tuple[float, float] | None = None

    @property
    def tell(self) -> bool:
        """Whether taps count, and the tips alone can be told from the part."""
        return self.count and self._most >= ABOVE_LEADS

    def could_be_tap(self, held: Held) -> bool:
        """Return whether ``held`` may be the tips alone, so that only time can tell."""
        return held.unit == "ohm" and self._tips_alone(held.value, held.resolution)

    def _tips_alone(self, value: float, resolution: float) -> bool:
        if not self.tell:
            return False
        return value - self._leads <= min(ABOVE_LEADS + ZERO_STEPS * resolution, self._most)

    def read(self, reading: Reading) -> None:
        """Take a reading of the current touch."""
        if reading.overload:
            return
        if self._tips_alone(reading.value, reading.resolution or 0.0):
            self._tips += 1
        elif reading.t >= self._met_t:
            self._other += 1
            self.watching = self._other <= BOUNCES

    def see(self, event: TouchEvent) -> Gesture | None:
        """Take one touch event, oldest first; return the gesture that it completes."""
        match event:
            case Contact():
                self.watching, self._tips, self._other = True, 0, 0
                self._met_t = event.t + MEET_S
            case Held() if not self.could_be_tap(event):
                self.watching, self._last_tap = False, None
            case Lift():
                watched, self.watching = self.watching, False
                if watched and self._tips >= FEWEST and event.t - event.contact_t <= LONGEST_S:
                    return self._tapped(event.contact_t, event.t)
        return None

    def _tapped(self, began: float, ended: float) -> Gesture | None:
        before, self._last_tap = self._last_tap, (began, ended)
        if before is None:
            return None
        apart = began - before[1]
        if apart <= AGAIN_WITHIN_S:
            self._last_tap = None
            return Gesture.AGAIN
        if OPEN_AFTER_S <= apart <= OPEN_WITHIN_S:
            self._last_tap = None
            return Gesture.OPEN
        return None
