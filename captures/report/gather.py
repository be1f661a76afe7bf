"""From log and captures to the facts of a report: one pass, with the bench's own rules."""

import contextlib
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Final

from captures.job.across_jobs import RecordedCheck, StandingChecks, meter_named
from captures.job.across_jobs import gather as gather_checks
from captures.job.card_progress import FindCard, JobSettings, criterion_of, finding_of
from captures.job.job import Job, LogEntry, LogReader
from captures.job.store import JobStore
from captures.job.verify_job import JobCheck, JobPart, check_job
from captures.record.files import read_rfc3339, rfc3339
from captures.record.reader import read_capture
from captures.record.records import Attached, Header
from captures.record.writer import NOT_WRITTEN, STOPPED
from captures.report.facts import CardFacts, CheckRow, TouchFacts, held_touches
from captures.report.wording import gap_words
from meterlink.bench.progress import Progress
from meterlink.card import Card, Step, left_out_words
from meterlink.errors import MeterlinkError, UnreadableError
from meterlink.events import (
    CardBegan,
    Entered,
    Gap,
    Judged,
    Note,
    StepEnded,
    StepEvent,
    StepReopened,
    Zeroed,
)
from meterlink.finding.finding import Finding
from meterlink.profile import Profile
from meterlink.steps.entry import ConfirmationStep, EntryStep

_OF_THE_WRITER: Final = frozenset({NOT_WRITTEN, STOPPED})
"""Gaps that only the capture knows of; the others are in the log too."""

_MOST_TOUCHES: Final = 60
"""Touches drawn in one report; the rest are in the captures."""


@dataclass
class JobFacts:
    """Everything that a report is made from."""

    folder: Path
    name: str
    title: str
    started: str
    last: str
    """RFC 3339 time of the newest entry."""
    program: str
    people: list[str]
    """Who is named in the log, in the order of appearance."""
    cards: list[CardFacts]
    finding: Finding | None
    """None where no card names a complaint."""
    signed_off: tuple[str, str] | None
    """When and by whom, where it was; the name may be empty."""
    simulated: bool
    """Some of its readings are of the simulated bench, not of an engine."""
    stop_check: bool | None
    """Whether the engine was seen to stop; None where that is not recorded."""
    headers: dict[str, Header]
    last_check: RecordedCheck | None
    """The newest check of this job's meter, in this job or an earlier one."""
    touches: list[TouchFacts]
    touches_left_out: int
    attachments: list[Attached]
    notes: list[tuple[str, str]]
    """Time and words of what was noted, gaps included."""
    check: JobCheck
    """What a check of its files found."""

    @property
    def stops(self) -> bool:
        """Whether the engine was seen to stop by its control, and the job is signed off."""
        return self.signed_off is not None and bool(self.stop_check)

    @property
    def parts(self) -> tuple[JobPart, ...]:
        """What was found of each file, the log first."""
        return self.check.parts


class CardGatherer:
    """Follows one card through the log; ``facts`` at the end."""

    def __init__(self, progress: Progress, profile: Profile | None) -> None:
        self.progress = progress
        self._profile = profile
        self._checks: dict[tuple[str, str], CheckRow] = {}
        self._again: dict[str, list[str]] = {}
        self._before: dict[tuple[str, str], CheckRow] = {}

    def take(self, entry: LogEntry) -> None:
        """Take one entry of the log."""
        event = entry.event
        match event:
            case Judged():
                check = self._check(event.step, event.position)
                check.judged, check.at = event, entry.at
                check.criterion = criterion_of(check.step, event.position, self._profile)
                check.order = entry.line
            case StepEvent():
                check = self._check(event.step)
                check.own.apply(event)
                check.order = entry.line
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
                check.ended, check.order = event, entry.line
                check.at = check.at or entry.at
            case StepReopened():
                for key in [key for key in self._checks if key[0] == event.step]:
                    first = self._checks.pop(key)
                    first.good = self._is_good(first)
                    self._before.setdefault(key, first)
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
                check.before = self._before.get((step.id, check.position))
                check.good = None if _only_leads_on(step, card) else self._is_good(check)
                rows.append(check)
        return CardFacts(
            card=card,
            profile_name="" if self._profile is None else self._profile.name,
            checks=rows,
            left_out=left_out_words(left_out),
            undone=tuple(row.step.title for row in rows if not row.order),
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
    """Whether a yes or no only chooses what is done next, as “Does the lead come off?” does."""
    if not isinstance(step, ConfirmationStep) or step.check:
        return False
    return any(need.step == step.id for other in card.step for need in other.only_if)


def gather(
    job: Job,
    shelved: FindCard,
    store: JobStore | None = None,
    check: JobCheck | None = None,
) -> JobFacts:
    """Return everything that a report of ``job`` says.

    Raises:
        UnreadableError: the job's log cannot be read.
    """
    attachments: list[Attached] = []
    notes: list[tuple[str, str]] = []
    with LogReader(job.log_path) as reader:
        header = reader.header
        settings = JobSettings(job, header)
        touches, left_out = _touches(job, settings, notes)
        log = LogGatherer(settings, shelved)
        checks = StandingChecks(job.name, lambda file: _meter_of(settings, file))
        last = header.started
        for entry in reader.entries():
            last = entry.at or last
            match entry.event:
                case Attached():
                    attachments.append(entry.event)
                case Gap(until=None, why=why) if why == STOPPED:
                    pass  # the capture that was open says it too, and for how long
                case Note() | Gap():
                    notes.append((entry.at, _noted(entry.event)))
            log.take(entry)
            checks.take(entry)
    notes.sort(key=lambda note: _when(note[0]))
    cards = [gatherer.facts() for gatherer in log.cards.values()]
    return JobFacts(
        folder=job.folder,
        name=job.name,
        title=header.title,
        started=header.started,
        last=last,
        program=header.program,
        people=list(log.people),
        cards=cards,
        finding=finding_of(
            [gatherer.progress for gatherer in log.cards.values()], settings.profiles.values()
        ),
        signed_off=_signed_off(cards),
        simulated=any(h.settings.get("simulated") is True for h in settings.headers.values()),
        stop_check=_stop_check(cards),
        headers=settings.headers,
        last_check=_last_check(checks.checks, job, store, settings, last),
        touches=touches,
        touches_left_out=left_out,
        attachments=attachments,
        notes=notes,
        check=check or check_job(job),
    )


def _last_check(
    found: list[RecordedCheck],
    job: Job,
    store: JobStore | None,
    settings: JobSettings,
    until: str,
) -> RecordedCheck | None:
    """Return the newest of ``found``, those of this job.

    Where it has none: the newest of the other jobs in ``store`` of one of its meters, no newer
    than ``until``.
    """
    if not found and store is not None:
        meters = {str(header.meter) for header in settings.headers.values() if header.meter}
        found = [
            check
            for series in gather_checks(
                other for other in store.jobs() if other.folder != job.folder
            )
            if series.meter in meters
            for check in series.checks
            if _when(check.at) <= _when(until)
        ]
    return max(found, key=lambda check: _when(check.at), default=None)


def _meter_of(settings: JobSettings, file: str) -> str:
    header = settings.headers.get(file)
    return "" if header is None else meter_named(header.meter)


def _when(at: str) -> float:
    try:
        return read_rfc3339(at).timestamp()
    except UnreadableError:
        return 0.0


def _noted(event: Note | Gap) -> str:
    return event.text if isinstance(event, Note) else gap_words(event)


def _touches(
    job: Job, settings: JobSettings, notes: list[tuple[str, str]]
) -> tuple[list[TouchFacts], int]:
    """Read each capture once; return the touches to draw and how many are left out.

    Adds headers to ``settings``, and to ``notes`` the gaps that only the captures know of.
    """
    touches: list[TouchFacts] = []
    left_out = 0
    for path in job.captures():
        # One that cannot be read is named in the table of the seals.
        with contextlib.suppress(UnreadableError), read_capture(path) as capture:
            settings.take(path, capture.header)
            for found in held_touches(capture, path.name):
                if isinstance(found, Gap):
                    if found.why in _OF_THE_WRITER:
                        notes.append((_later(capture.header.started, found.t), _noted(found)))
                elif len(touches) < _MOST_TOUCHES:
                    touches.append(found)
                else:
                    left_out += 1
    return touches, left_out


def _later(began: str, seconds: float) -> str:
    """Return the RFC 3339 time ``seconds`` after ``began``, which stands where it is none."""
    try:
        return rfc3339(read_rfc3339(began) + timedelta(seconds=seconds))
    except (UnreadableError, OverflowError, ValueError):
        return began


def _signed_off(cards: list[CardFacts]) -> tuple[str, str] | None:
    """Return when and by whom the newest card that was signed off was."""
    for facts in reversed(cards):
        for check in facts.checks if facts.signed_off else ():
            step = check.step
            if isinstance(step, ConfirmationStep) and step.signs_off and check.ended is not None:
                return check.at, check.ended.who
    return None


def _stop_check(cards: list[CardFacts]) -> bool | None:
    """Whether what a sign-off requires was seen: the engine stops when its control is let go."""
    for facts in reversed(cards):
        wanted = {
            condition.step: condition.was
            for step in facts.card.step
            if isinstance(step, ConfirmationStep) and step.signs_off
            for condition in step.requires
        }
        for check in facts.checks:
            outcome = "" if check.ended is None else check.ended.outcome
            if check.step.id in wanted and outcome not in ("", "skipped"):
                return outcome in wanted[check.step.id]
    return None
