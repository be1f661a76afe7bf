"""From a job's log to the facts of its report: one pass, with the bench's own rules."""

from captures.job.card_progress import FindCard, JobSettings, criterion_of
from captures.job.joblog import LogEntry
from captures.report.facts import CardFacts, CheckRow
from meterlink.bench.expected import is_expected
from meterlink.bench.progress import Progress
from meterlink.card.card import Card, ConfirmationStep, EntryStep, Step
from meterlink.card.profile import GapSetting, Profile, Torque
from meterlink.card.profile_parts import find_part, left_out_words
from meterlink.errors import MeterlinkError
from meterlink.events import (
    CardBegan,
    Dropout,
    Entered,
    Judged,
    MeterChecked,
    SoakPoint,
    StepEnded,
    StepReopened,
    Zeroed,
)


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
                check.criterion = criterion_of(check.step, event.position, self._profile)
            case MeterChecked():
                check = self._check(event.step)
                check.meter, check.at = event, entry.at
            case Zeroed():
                self._check(event.step).zeroed = event
            case Entered():
                check = self._check(event.step)
                check.entered, check.size = event, _size(check.step, self._profile)
            case Dropout():
                check = self._check(event.step)
                check.dropouts += 1
                check.longest_dropout_s = max(check.longest_dropout_s, event.lasted_s)
            case SoakPoint():
                check = self._check(event.step)
                check.soak = [*check.soak[:1], event]
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
            for check in own or [CheckRow(step)]:
                check.again = self._again.get(step.id, [])
                check.good = None if _only_leads_on(step, card) else _is_good(check)
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
            self._checks[key] = CheckRow(step, position)
        return self._checks[key]


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


def _is_good(check: CheckRow) -> bool | None:
    """Whether a row is as hoped for, by the step's own measure."""
    outcome = "" if check.ended is None else check.ended.outcome
    if check.position:
        return None  # the switch as a whole is judged, on its own row
    return is_expected(
        check.step, outcome, None if check.criterion is None else check.criterion.good
    )


def _size(step: Step, profile: Profile | None) -> tuple[float, float, str] | None:
    """Return what a gap or torque may be and its unit; None where the profile does not say."""
    if profile is None or not isinstance(step, EntryStep):
        return None
    try:
        part: GapSetting | Torque = find_part(step, profile)
    except KeyError:
        return None
    return part.low, part.high, "metre" if isinstance(part, GapSetting) else "newton-metre"


def _only_leads_on(step: Step, card: Card) -> bool:
    """Whether a yes or no only chooses what is done next, as «Does the lead come off?» does."""
    if not isinstance(step, ConfirmationStep) or step.check:
        return False
    return any(need.step == step.id for other in card.step for need in other.only_if)
