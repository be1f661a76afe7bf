"""From log and captures to the facts of a report: one pass, with the bench's own rules."""

import math
from collections import deque
from collections.abc import Iterator
from typing import Final

from captures.job.card_progress import FindCard, JobSettings
from captures.job.joblog import LogEntry
from captures.record.reader import RecordReader
from captures.report.facts import CardFacts, CheckRow, TouchFacts
from meterlink.bench.progress import Progress
from meterlink.card import Card, Step, left_out_words
from meterlink.errors import MeterlinkError, NotationError
from meterlink.events import (
    CardBegan,
    Contact,
    Entered,
    Gap,
    Held,
    Judged,
    Lift,
    StepBegan,
    StepEnded,
    StepEvent,
    StepReopened,
    Zeroed,
)
from meterlink.judging.criterion import Criterion
from meterlink.profile import Profile
from meterlink.reading import Reading
from meterlink.steps.entry import ConfirmationStep, EntryStep


class CardGatherer:
    """Follows one card through the log; ``facts`` at the end."""

    def __init__(self, progress: Progress, profile: Profile | None) -> None:
        self.progress = progress
        self._profile = profile
        self._checks: dict[tuple[str, str], CheckRow] = {}
        self._again: dict[str, list[str]] = {}

    def take(self, entry: LogEntry) -> None:
        """Take one entry of the log."""
        event = entry.event
        match event:
            case Judged():
                check = self._check(event.step, event.position)
                check.judged, check.at = event, entry.at
                check.criterion = self._criterion(check.step, event.position)
            case StepEvent():
                check = self._check(event.step)
                check.own.apply(event)
                check.at = entry.at if event.fulfils else check.at
            case Zeroed():
                self._check(event.step).zeroed = event
            case Entered():
                check = self._check(event.step)
                check.entered = event
                if isinstance(check.step, EntryStep):
                    check.size = check.step.limits(self._profile)
            case StepEnded():
                check = self._check(event.step)
                check.ended = event
                check.at = check.at or entry.at
            case StepReopened():
                for key in [key for key in self._checks if key[0] == event.step]:
                    del self._checks[key]
                self._again.setdefault(event.step, []).append(event.reason)
        self.progress.apply(event)

    def facts(self) -> CardFacts:
        """Return the card's rows, in the card's own order."""
        card = self.progress.card
        rows = []
        left_out = self.progress.left_out
        for step in card.step:
            if step in left_out:
                continue
            own = [check for (name, _), check in self._checks.items() if name == step.id]
            own.sort(key=lambda check: check.position != "")
            for check in own or [CheckRow(step, own=step.state())]:
                check.again = self._again.get(step.id, [])
                check.good = None if _only_leads_on(step, card) else self._is_good(check)
                rows.append(check)
        return CardFacts(
            card=card,
            profile_name="" if self._profile is None else self._profile.name,
            checks=rows,
            left_out=left_out_words(left_out),
            ended=self.progress.ended,
            signed_off=self.progress.signed_off,
            meter_failed=self.progress.meter_failed,
        )

    def _check(self, step_id: str, position: str = "") -> CheckRow:
        key = (step_id, position)
        if key not in self._checks:
            try:
                step = self.progress.card.find(step_id)
            except KeyError:
                return CheckRow(self.progress.card.step[0])  # of another card: shown nowhere
            self._checks[key] = CheckRow(step, position, own=step.state())
        return self._checks[key]

    def _criterion(self, step: Step, position: str) -> Criterion | None:
        if self._profile is None:
            return None
        try:
            return step.criterion(self._profile, position)
        except NotationError:  # windows that contradict each other, in a log of another program
            return None

    def _is_good(self, check: CheckRow) -> bool | None:
        """Whether a row is good, by the step's own measure."""
        if check.position or check.ended is None:
            return None  # the switch as a whole is judged, on its own row
        return check.step.is_expected(check.ended.outcome, self._profile)


class LogGatherer:
    """Follows a whole log: its cards, and who is named in it."""

    def __init__(self, settings: JobSettings, shelved: FindCard) -> None:
        self.cards: dict[str, CardGatherer] = {}
        self.people: dict[str, None] = {}
        self._settings = settings
        self._shelved = shelved
        self._current: CardGatherer | None = None

    def take(self, entry: LogEntry) -> None:
        """Take one entry."""
        event = entry.event
        if who := getattr(event, "who", ""):
            self.people.setdefault(who)
        if isinstance(event, CardBegan):
            self._current = self._card(event)
        if self._current is not None:
            self._current.take(entry)

    def _card(self, began: CardBegan) -> CardGatherer | None:
        if began.card not in self.cards:
            try:
                card = self._settings.cards.get(began.card) or self._shelved(began.card)
            except MeterlinkError:
                return None  # neither in the job nor on the shelf: its events are in the log
            profile = self._settings.profiles.get(began.profile)
            self.cards[began.card] = CardGatherer(Progress(card), profile)
        return self.cards[began.card]


def _only_leads_on(step: Step, card: Card) -> bool:
    """Whether a yes or no only chooses what is done next, as «Does the lead come off?» does."""
    if not isinstance(step, ConfirmationStep) or step.check:
        return False
    return any(need.step == step.id for other in card.step for need in other.only_if)


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
            case Held() if touch is not None and touch.held is None:
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
