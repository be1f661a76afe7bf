"""How a simulated bench lets time pass: as fast as it is asked, or as slowly as the world does."""

import threading
from typing import Protocol

from drivers.clock import Clock


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
