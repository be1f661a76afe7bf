"""Where drivers get their time from, so that a simulated run can bring its own.

Two rules hold for every source:

* ``Reading.t`` is ``clock.now()`` and nothing else: the clock's zero is the start of the
  capture, so that a meter which is opened anew after its plug slipped goes on in the same time.
* A duration is a difference of two ``now()``. Wall time is never used for one, so a wall clock
  that jumps, or is set right while a touch lasts, changes nothing.
"""

import time
from typing import Protocol


class Clock(Protocol):
    """Seconds that only go forward."""

    def now(self) -> float:
        """Return the seconds since this clock's zero. May be called from any thread."""
        ...


class MonotonicClock:
    """The computer's steady clock, with its zero at the moment this object was made."""

    def __init__(self) -> None:
        # perf_counter is monotonic on every platform, and unlike time.monotonic it is finer
        # than 16 ms on Windows too.
        self._zero = time.perf_counter()

    def now(self) -> float:
        """Return the seconds since this clock was made."""
        return time.perf_counter() - self._zero
