"""When is the next record due? At its own pace, faster, slower, paused, or on to some moment.

Sans clock: the present time comes in, the time to wait goes out. Times of the record are called
``t``, those of the watcher's clock ``now``; both in seconds.
"""

from collections.abc import Callable, Sequence
from math import inf
from typing import Final

from captures.record.replay import Replay
from meterlink.card import BenchEvent

SPEEDS: Final = (0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
"""What ``faster`` and ``slower`` go through, as multiples of the record's own pace."""

Until = Callable[[Replay, Sequence[BenchEvent]], bool]
"""Says whether the moment is there, given what just happened."""


class Pacing:
    """The pace of one replay. Not safe for threads: its owner takes turns."""

    def __init__(self, speed: float = 1.0, *, paused: bool = False) -> None:
        """``speed``: multiple of the record's own pace; infinite for as fast as can be."""
        self.speed = speed
        self.paused = paused
        self._t = 0.0
        self._t0, self._now0 = 0.0, -inf
        self._until: Until | None = None
        self._steps = False

    @property
    def running_on(self) -> bool:
        """Whether it is on its way to some moment further on, as fast as can be."""
        return self._until is not None and not self._steps

    def wait_s(self, t: float, now: float) -> float:
        """Return how long to wait for the record of ``t``; infinite while paused."""
        if self._until is not None:
            return 0.0
        if self.paused:
            return inf
        if self._now0 == -inf:
            self.anchor(now)
        return max(0.0, self._now0 + (t - self._t0) / self.speed - now)

    def played(self, replay: Replay, events: Sequence[BenchEvent], now: float) -> None:
        """Take note that the replay has come to where it is, and that ``events`` happened."""
        self._t = replay.t
        if self._until is not None and self._until(replay, events):
            self._until = None
            self.anchor(now)

    def restarted(self) -> None:
        """Take note that the record begins again."""
        self._t, self._t0, self._now0 = 0.0, 0.0, -inf

    def pause(self) -> None:
        """Wait before the next record."""
        self.paused = True

    def go(self, now: float) -> None:
        """Go on from here."""
        self.paused = False
        self.anchor(now)

    def run_on(self, until: Until) -> None:
        """Go on as fast as can be until the moment comes; then at the pace of before."""
        self._until, self._steps = until, False

    def step(self) -> None:
        """Go on to the next thing that happens, and wait there."""
        self.paused = True
        self._until, self._steps = something_happens, True

    def faster(self, now: float) -> None:
        """Take the next quicker pace."""
        self._change(next((s for s in SPEEDS if s > self.speed), self.speed), now)

    def slower(self, now: float) -> None:
        """Take the next slower pace."""
        self._change(next((s for s in reversed(SPEEDS) if s < self.speed), self.speed), now)

    def _change(self, speed: float, now: float) -> None:
        self.speed = speed
        self.anchor(now)

    def anchor(self, now: float) -> None:
        """Go on from here at this pace: what passed until ``now`` was no part of the replay."""
        self._t0, self._now0 = self._t, now


def something_happens(_: Replay, events: Sequence[BenchEvent]) -> bool:
    """Whether anything happened."""
    return bool(events)


def at_time(t: float) -> Until:
    """Return what says whether ``t`` has come."""
    return lambda replay, _: replay.t >= t


def at_touch(number: int) -> Until:
    """Return what says whether the touch of this number, counted from 1, has begun."""
    return lambda replay, _: replay.touches >= number
