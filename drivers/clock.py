"""Where drivers get their time from, and how a simulated run lets it pass.

Two rules hold for every source:

* ``Reading.t`` is ``clock.now()`` and nothing else: the clock's zero is the start of the
  capture, so that a meter which is opened again after its plug slipped goes on in the same time.
* A duration is a difference of two ``now()``. Wall time is never used for one, so a wall clock
  that jumps, or is set right while a touch lasts, changes nothing.
"""

import threading
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


class VirtualClock:
    """A clock that stands still until someone lets time pass.

    A simulated meter advances it by what each reading would have taken, so a run that asks for
    one reading after another is the same to the last bit whenever its seed is the same.
    """

    def __init__(self) -> None:
        self._now = 0.0
        self._lock = threading.Lock()

    def now(self) -> float:
        """Return the seconds that have passed. May be called from any thread."""
        with self._lock:
            return self._now

    def advance(self, seconds: float) -> float:
        """Let ``seconds`` pass at once; return the new time."""
        with self._lock:
            self._now += max(0.0, seconds)
            return self._now


class Pace(Protocol):
    """A clock, and the way to wait by it."""

    def now(self) -> float:
        """Return the seconds since the clock's zero."""
        ...

    def pass_time(self, seconds: float) -> bool:
        """Wait; return False where the wait was cut short because all is to end."""
        ...


class VirtualPace:
    """Waits by advancing a virtual clock, in no time at all."""

    def __init__(self, clock: VirtualClock, stop: threading.Event) -> None:
        self._clock = clock
        self._stop = stop
        self.now = clock.now

    def pass_time(self, seconds: float) -> bool:
        """Advance the clock."""
        self._clock.advance(seconds)
        return not self._stop.is_set()


class RealPace:
    """Waits by the computer's own clock."""

    def __init__(self, clock: Clock, stop: threading.Event) -> None:
        self._stop = stop
        self.now = clock.now

    def pass_time(self, seconds: float) -> bool:
        """Wait until ``seconds`` have passed or all is to end."""
        return not self._stop.wait(max(0.0, seconds))


def pace_of(clock: Clock, stop: threading.Event) -> Pace:
    """Return the way to wait by ``clock``: a virtual one is advanced, any other waited for."""
    if isinstance(clock, VirtualClock):
        return VirtualPace(clock, stop)
    return RealPace(clock, stop)
