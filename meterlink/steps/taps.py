"""Probe gestures: the tips tapped together.

A tap is a short touch that reads as the leads alone, too short to be held. Two of them with a
pause spent on the work say that the leads were whole all along: an over range in between was a
real open. Two in quick succession say: this step again.
"""

from enum import Enum
from typing import Final

from meterlink.events import Contact, Held, Lift, TouchEvent
from meterlink.reading import Reading

LONGEST_S: Final = 1.5
"""A touch that lasts longer is no tap but a reading near zero."""
ABOVE_LEADS: Final = 0.15
"""Ohms above the lead zero that still are the tips alone."""
LEADS_UNKNOWN: Final = 0.3
"""Ohms allowed for the leads where no lead zero was taken."""
FEWEST: Final = 3
"""Readings of the tips alone that make a tap."""
BOUNCES: Final = 2
"""Other readings that a tap may have, while the tips meet."""
AGAIN_WITHIN_S: Final = 1.0
"""Two taps closer than this mean «again»."""
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

    def __init__(self, lead_zero: float | None) -> None:
        leads = LEADS_UNKNOWN if lead_zero is None else lead_zero
        self.limit = leads + ABOVE_LEADS
        """Highest reading, as read, that can be the tips alone; ohms."""
        self.watching = False
        """Whether the current touch may be a tap, so that its readings matter."""
        self._tips = self._other = 0
        self._last_tap: tuple[float, float] | None = None

    def could_be_tap(self, held: Held) -> bool:
        """Return whether ``held`` may be the tips alone, so that only time can tell."""
        return held.unit == "ohm" and held.value <= self.limit

    def read(self, reading: Reading) -> None:
        """Take a reading of the current touch."""
        if reading.overload:
            return
        if reading.value <= self.limit:
            self._tips += 1
        else:
            self._other += 1
            self.watching = self._other <= BOUNCES

    def see(self, event: TouchEvent) -> Gesture | None:
        """Take one touch event, oldest first; return the gesture that it completes."""
        match event:
            case Contact():
                self.watching, self._tips, self._other = True, 0, 0
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
