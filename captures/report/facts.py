"""What a report says, before any of it is put into words or drawn.

The readings of every touch that was held are gathered in one pass and in bounded memory.
"""

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from captures.record.reader import RecordReader
from meterlink.card import Card, Step
from meterlink.events import (
    Contact,
    Entered,
    Gap,
    Held,
    Judged,
    Lift,
    StepBegan,
    StepEnded,
    Zeroed,
)
from meterlink.judging.criterion import Criterion
from meterlink.profile import GapSetting, Torque
from meterlink.reading import Reading
from meterlink.steps.step import StepState


@dataclass
class CheckRow:
    """One row of a card: a step, or one position of a switch."""

    step: Step
    position: str = ""
    judged: Judged | None = None
    criterion: Criterion | None = None
    """What it was judged by; None where the job does not hold its profile."""
    zeroed: Zeroed | None = None
    entered: Entered | None = None
    size: GapSetting | Torque | None = None
    """What a gap or torque may be, by the profile."""
    own: StepState = field(default_factory=StepState)
    """What the events of the step's own kind come to."""
    ended: StepEnded | None = None
    at: str = ""
    """RFC 3339 time of the verdict, else of the end of the step."""
    order: int = 0
    """Line of the log from which on it stands as it does."""
    before: "CheckRow | None" = None
    """What the same check gave the first time, where it was done again or on an earlier card."""
    again: list[str] = field(default_factory=list)
    """Why the step was opened again, one text for each time."""
    good: bool | None = None
    """It is good; None where it is neither good nor bad."""


@dataclass
class CardFacts:
    """One work card of the job."""

    card: Card
    profile_name: str
    checks: list[CheckRow] = field(default_factory=list)
    left_out: str = ""
    """In one line, what the card asks for and the engine lacks."""
    undone: tuple[str, ...] = ()
    """Titles of its steps that were never come to."""
    ended: bool = False
    signed_off: bool = False
    meter_failed: bool = False


@dataclass
class TouchFacts:
    """The readings of one touch that was held, thinned out where there are many."""

    capture: str
    step: str
    contact_t: float
    held_t: float
    held: float
    unit: str
    lift_t: float | None
    t: list[float]
    """Seconds since the start of the capture."""
    value: list[float]
    """SI units; infinite where over range."""

    @property
    def is_unsteady(self) -> bool:
        """Whether a reading before the lift was over range, or far from the held value."""
        end = math.inf if self.lift_t is None else self.lift_t
        on = [v for t, v in zip(self.t, self.value, strict=True) if self.held_t <= t < end]
        return any(not abs(value - self.held) <= _FAR * abs(self.held) for value in on)


_FAR: Final = 0.05
"""A reading is far from a held value by more than this share of it."""

_BEFORE: Final = 12
"""Readings shown before contact is said: the engine says it a few readings late."""

_MOST: Final = 2_000
"""Readings kept of one touch; a longer one is thinned out evenly."""


def held_touches(capture: RecordReader, name: str) -> Iterator[TouchFacts | Gap]:
    """Yield each touch of a capture that came to a hold, and each gap, oldest first.

    ``name``: of its file.

    Raises:
        UnreadableError: it is no capture.
    """
    recent: deque[Reading] = deque(maxlen=_BEFORE)
    step = ""
    touch: _Touch | None = None
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
                touch = _Touch(name, record.t, list(recent))
            case Held() if touch is not None and (touch.held is None or record.revises):
                touch.held, touch.step = record, step
            case Lift() if touch is not None:
                yield from touch.done(record.t)
                touch = None
    if touch is not None:
        yield from touch.done(None)


def worth_drawing(touches: list[TouchFacts], cards: list[CardFacts]) -> list[TouchFacts]:
    """Return the touches whose readings show something that the verdict does not.

    Of those that gave a verdict: where it is close, or against the part, and where readings went
    far from the held value while the probes were on, unless that was a switch that was moved.
    """
    judged: dict[tuple[str, float], bool] = {}
    moved: set[tuple[str, float]] = set()
    for check in (check for card in cards for check in card.checks):
        if check.judged is not None:
            key = (check.step.id, check.judged.contact_t)
            told = not check.judged.clear or check.good is False
            judged[key] = told or judged.get(key, False)
            if check.position:
                moved.add(key)
    return [
        touch
        for touch in touches
        if (key := (touch.step, touch.contact_t)) in judged
        if judged[key] or (touch.is_unsteady and key not in moved)
    ]


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
