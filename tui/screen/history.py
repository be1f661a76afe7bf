"""The last minute, thinned out: constant memory whatever the meter's speed or the run's length."""

from collections import deque
from collections.abc import Iterator
from math import isfinite
from typing import Final

import msgspec

SPAN_S: Final = 60.0
POINTS: Final = 240
_BUCKET_S: Final = SPAN_S / POINTS
_MARKS: Final = 32


class Bucket(msgspec.Struct):
    """What was seen in a quarter of a second."""

    t: float
    """Seconds since the start of the capture, of the bucket's begin."""
    low: float
    high: float
    over: bool
    """Nothing but over range was seen."""


class HoldMark(msgspec.Struct, frozen=True):
    """A hold."""

    t: float
    value: float


class History:
    """Values and holds of the last minute."""

    def __init__(self) -> None:
        self._buckets: deque[Bucket] = deque(maxlen=POINTS + 1)
        self._marks: deque[HoldMark] = deque(maxlen=_MARKS)
        self.now = 0.0
        """Time of the newest value."""

    def add(self, t: float, value: float | None) -> None:
        """Take a value at ``t``; None or infinite is over range."""
        begin = t - t % _BUCKET_S
        over = value is None or not isfinite(value)
        seen = 0.0 if value is None or over else value
        if t < self.now - SPAN_S:  # a new capture: time begins again
            self.clear()
        self.now = t
        last = self._buckets[-1] if self._buckets else None
        if last is None or begin != last.t:
            self._buckets.append(Bucket(begin, seen, seen, over))
        elif last.over and not over:
            last.low, last.high, last.over = seen, seen, False
        elif not over:
            last.low, last.high = min(last.low, seen), max(last.high, seen)

    def mark(self, t: float, value: float) -> None:
        """Remember a hold at ``t``."""
        self._marks.append(HoldMark(t, value))

    def clear(self) -> None:
        """Forget everything."""
        self._buckets.clear()
        self._marks.clear()
        self.now = 0.0

    def runs(self) -> Iterator[tuple[list[float], list[float]]]:
        """Yield ages (seconds before now, at most nought) and values, cut where over range was."""
        ages: list[float] = []
        values: list[float] = []
        for bucket in self._buckets:
            age = bucket.t - self.now
            if age < -SPAN_S:
                continue
            if bucket.over:
                if ages:
                    yield ages, values
                ages, values = [], []
                continue
            for value in dict.fromkeys((bucket.low, bucket.high)):
                ages.append(age)
                values.append(value)
        if ages:
            yield ages, values

    def over_ages(self) -> list[float]:
        """Return the ages at which nothing but over range was seen."""
        return [
            bucket.t - self.now
            for bucket in self._buckets
            if bucket.over and bucket.t - self.now >= -SPAN_S
        ]

    def marks(self) -> list[HoldMark]:
        """Return the holds of the last minute, with ages for times."""
        ages = (HoldMark(mark.t - self.now, mark.value) for mark in self._marks)
        return [mark for mark in ages if mark.t >= -SPAN_S]
