"""From a job's log to the facts of its report: one pass, with the bench's own rules."""

from typing import Final

from captures.joblog import LogEntry
from captures.report.facts import CardFacts, Check
from captures.source import setting_of
from captures.standing import FindCard, JobSettings
from meterlink.card import ConfirmationStep, EntryStep, MeasurementStep, Step, SwitchStep, WatchStep
from meterlink.criterion import Criterion
from meterlink.errors import MeterlinkError
from meterlink.events import (
    CardBegan,
    Entered,
    Held,
    Judged,
    MeterSet,
    StepEnded,
    StepReopened,
    Zeroed,
)
from meterlink.profile import Profile
from meterlink.progress import Progress
from meterlink.source import Accuracy, Setting
from meterlink.steps.assessors import Bearings, criterion_for, switch_criterion
from meterlink.steps.parts import find_part

_SAME_BUDGET: Final = 0.01
"""A budget worked out again is shown if it comes to the recorded uncertainty within this share;
what it rested on may not all be in the record."""


class CardGatherer:
    """Follows one card through the log; ``facts`` at the end."""

    def __init__(self, progress: Progress, profile: Profile | None) -> None:
        self.progress = progress
        self._profile = profile
        self._checks: dict[tuple[str, str], Check] = {}
        self._again: dict[str, int] = {}
        self._held: dict[tuple[float, float], Held] = {}
        """Of the step that is open, by contact and value."""

    def take(self, entry: LogEntry, accuracy: tuple[Accuracy, ...], setting: Setting) -> None:
        """Take one entry of the log."""
        event = entry.event
        match event:
            case Held():
                self._held[event.contact_t, event.value] = event
            case Judged():
                self._judged(event, entry.at, accuracy, setting)
            case Zeroed():
                self._check(event.step).zeroed = event
            case Entered():
                self._check(event.step).entered = event
            case StepEnded():
                self._held.clear()
                check = self._check(event.step)
                check.ended = event
                check.at = check.at or entry.at
            case StepReopened():
                for key in [key for key in self._checks if key[0] == event.step]:
                    del self._checks[key]
                self._again[event.step] = self._again.get(event.step, 0) + 1
        self.progress.apply(event)

    def facts(self) -> CardFacts:
        """Return the card's rows, in the card's own order."""
        card = self.progress.card
        rows = []
        for step in card.step:
            own = [check for (name, _), check in self._checks.items() if name == step.id]
            own.sort(key=lambda check: check.position != "")
            for check in own or [Check(step)]:
                check.again = self._again.get(step.id, 0)
                check.good = _is_good(check)
                rows.append(check)
        return CardFacts(
            card=card,
            profile_name="" if self._profile is None else self._profile.name,
            checks=rows,
            ended=self.progress.ended,
            signed_off=self.progress.signed_off,
        )

    def _check(self, step_id: str, position: str = "") -> Check:
        key = (step_id, position)
        if key not in self._checks:
            try:
                step = self.progress.card.find(step_id)
            except KeyError:
                return Check(self.progress.card.step[0])  # of another card: shown nowhere
            self._checks[key] = Check(step, position)
        return self._checks[key]

    def _judged(
        self, event: Judged, at: str, accuracy: tuple[Accuracy, ...], setting: Setting
    ) -> None:
        check = self._check(event.step, event.position)
        check.judged, check.at = event, at
        check.budget, check.notes = None, ()
        check.criterion = _criterion(check.step, event.position, self._profile)
        held = None if event.value is None else self._held.get((event.contact_t, event.value))
        if check.criterion is None or held is None or not event.u:
            return
        bearings = Bearings(accuracy, self.progress, setting)
        assessment = bearings.assessor(check.criterion).assess(held)
        if abs(assessment.expanded - event.u) <= _SAME_BUDGET * event.u:
            check.budget, check.notes = assessment.budget, assessment.notes


class LogGatherer:
    """Follows a whole log: cards, people, meter settings."""

    def __init__(self, settings: JobSettings, shelved: FindCard) -> None:
        self.cards: dict[str, CardGatherer] = {}
        self.people: dict[str, None] = {}
        self._settings = settings
        self._shelved = shelved
        self._current: CardGatherer | None = None
        self._setting = Setting()

    def take(self, entry: LogEntry, capture: str) -> None:
        """Take one entry, while the capture of that path was being written."""
        event = entry.event
        if who := getattr(event, "who", ""):
            self.people.setdefault(who)
        if isinstance(event, MeterSet):
            self._setting = setting_of(event)
        if isinstance(event, CardBegan):
            self._current = self._card(event)
        if self._current is not None:
            header = self._settings.headers.get(capture)
            self._current.take(entry, () if header is None else header.accuracy, self._setting)

    def _card(self, began: CardBegan) -> CardGatherer | None:
        if began.card not in self.cards:
            try:
                card = self._settings.cards.get(began.card) or self._shelved(began.card)
            except MeterlinkError:
                return None  # neither in the job nor on the shelf: its events are in the log
            profile = self._settings.profiles.get(began.profile)
            self.cards[began.card] = CardGatherer(Progress(card), profile)
        return self.cards[began.card]


def _criterion(step: Step, position: str, profile: Profile | None) -> Criterion | None:
    if profile is None:
        return None
    try:
        if isinstance(step, SwitchStep):
            switch = find_part(step, profile)
            return switch_criterion(switch, closed=switch.positions.get(position) == "closed")
        if isinstance(step, MeasurementStep):
            return criterion_for(find_part(step, profile))
    except (KeyError, MeterlinkError):
        return None
    return None


def _is_good(check: Check) -> bool | None:
    """Whether a row is as hoped for, by the step's own measure."""
    outcome = "" if check.ended is None else check.ended.outcome
    step = check.step
    if outcome in ("", "skipped"):
        return None
    if check.position:
        return None  # the switch as a whole is judged, on its own row
    match step:
        case MeasurementStep():
            return None if check.criterion is None else outcome == check.criterion.good.value
        case SwitchStep():
            return outcome == "passed"
        case ConfirmationStep():
            return None if step.signs_off else outcome == step.good
        case WatchStep():
            return outcome == "none"
        case EntryStep(takes="gap" | "torque"):
            return outcome == "in-window"
    return None
