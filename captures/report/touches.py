"""The readings of every touch that was held, gathered in one pass and in bounded memory."""

import math
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from captures.record.reader import read_capture
from captures.report.facts import TouchFacts
from meterlink.events import Contact, Gap, Held, Lift, StepBegan
from meterlink.reading import Reading

_BEFORE: Final = 12
"""Readings shown before contact is said: the engine says it a few readings late."""

_MOST: Final = 2_000
"""Readings kept of one touch; a longer one is thinned out evenly."""


def held_touches(path: Path) -> Iterator[TouchFacts | Gap]:
    """Yield each touch of a capture that came to a hold, and each gap, oldest first.

    Raises:
        UnreadableError: it is no capture.
    """
    recent: deque[Reading] = deque(maxlen=_BEFORE)
    step = ""
    touch: _Touch | None = None
    with read_capture(path) as capture:
        for record in capture:
            match record:
                case Reading():
                    recent.append(record)
                    if touch is not None:
                        touch.add(record)
                case Gap():
                    yield record
                case StepBegan():
                    step = record.step
                case Contact():
                    if touch is not None:
                        yield from touch.done(None)
                    touch = _Touch(path.name, record.t, list(recent))
                case Held() if touch is not None and (touch.held is None or record.revises):
                    touch.held, touch.step = record, step
                case Lift() if touch is not None:
                    yield from touch.done(record.t)
                    touch = None
    if touch is not None:
        yield from touch.done(None)


class _Touch:
    """One touch while it goes on."""

    def __init__(self, capture: str, contact_t: float, before: list[Reading]) -> None:
        self.held: Held | None = None
        self.step = ""
        self._capture = capture
        self._contact_t = contact_t
        self._every = 1
        self._skipped = 0
        self._readings = before

    def add(self, reading: Reading) -> None:
        self._skipped += 1
        if self._skipped < self._every:
            return
        self._skipped = 0
        self._readings.append(reading)
        if len(self._readings) >= _MOST:
            del self._readings[::2]
            self._every *= 2

    def done(self, lift_t: float | None) -> Iterator[TouchFacts]:
        if self.held is None or not self._readings or not math.isfinite(self.held.value):
            return  # the last two only in a record that something else wrote
        yield TouchFacts(
            capture=self._capture,
            step=self.step,
            contact_t=self._contact_t,
            held_t=self.held.t,
            held=self.held.value,
            unit=self.held.unit,
            lift_t=lift_t,
            t=[reading.t for reading in self._readings],
            value=[reading.value for reading in self._readings],
        )
