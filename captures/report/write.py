"""From a job's folder to the finished file."""

import contextlib
import os
from datetime import timedelta
from enum import Enum
from pathlib import Path
from typing import Final

from captures.job.card_progress import FindCard, JobSettings
from captures.job.job import Job
from captures.job.meter_checks import RecordedCheck, checks_in
from captures.job.meter_checks import gather as gather_checks
from captures.job.store import JobStore
from captures.job.verify_job import verify_job
from captures.record.records import Attached
from captures.record.times import read_rfc3339, rfc3339
from captures.record.writer import NOT_WRITTEN, STOPPED
from captures.report.facts import CardFacts, JobFacts, TouchFacts
from captures.report.gather import LogGatherer
from captures.report.touches import held_touches
from captures.report.wording import gap_words
from meterlink.bench.progress import Progress
from meterlink.card.card import ConfirmationStep
from meterlink.errors import CannotWriteError, MeterlinkError, UnreadableError
from meterlink.events import Gap, Note
from meterlink.finding.find import find
from meterlink.finding.finding import Finding
from meterlink.finding.from_progress import outcomes_of_cards, parts_of_cards
from meterlink.quantities.text import plain

_OF_THE_WRITER: Final = frozenset({NOT_WRITTEN, STOPPED})
"""Gaps that only the capture knows of; the others are in the log too."""

_MOST_TOUCHES: Final = 60
"""Touches drawn in one report; the rest are in the captures."""


class Audience(Enum):
    """Who a report is for. The value goes into the file's name."""

    WORKSHOP = ""
    CUSTOMER = "customer"

    @property
    def file_name(self) -> str:
        """What the report is called in the job's folder."""
        return f"report-{self.value}.html" if self.value else "report.html"


def write_report(
    job: Job,
    shelved: FindCard,
    audience: Audience = Audience.WORKSHOP,
    target: Path | None = None,
    store: JobStore | None = None,
) -> Path:
    """Write the report of ``job`` into its folder, or to ``target``; return where.

    ``store`` is where the meter's last check is looked for if the job itself has none.

    An older report there is replaced, as it can be made again from the record at any time.

    Raises:
        UnreadableError: the job's log cannot be read.
        CannotWriteError: the file cannot be written.
    """
    from captures.report.page import fill  # brings the plotting library, half a second of it

    page = fill(gather(job, shelved, store), audience.value or "workshop")
    path = target if target is not None else job.folder / audience.file_name
    _write(path, page)
    return path


def gather(job: Job, shelved: FindCard, store: JobStore | None = None) -> JobFacts:
    """Return everything that a report of ``job`` says.

    Raises:
        UnreadableError: the job's log cannot be read.
    """
    header = job.header()
    settings = JobSettings(job)
    log = LogGatherer(settings, shelved)
    attachments: list[Attached] = []
    notes: list[tuple[str, str]] = []
    last = header.started
    for entry in job.entries():
        last = entry.at or last
        match entry.event:
            case Attached():
                attachments.append(entry.event)
            case Gap(until=None, why=why) if why == STOPPED:
                pass  # the capture that was open says it too, and for how long
            case Note() | Gap():
                notes.append((entry.at, _noted(entry.event)))
        log.take(entry)
    cards = [gatherer.facts() for gatherer in log.cards.values()]
    touches, left_out = _touches(job, settings, notes)
    return JobFacts(
        folder=job.folder,
        name=job.name,
        title=header.title,
        started=header.started,
        last=last,
        program=header.program,
        people=list(log.people),
        cards=cards,
        finding=_finding([gatherer.progress for gatherer in log.cards.values()], settings),
        signed_off=_signed_off(cards),
        simulated=any(h.settings.get("simulated") is True for h in settings.headers.values()),
        stop_check=_stop_check(cards),
        headers=settings.headers,
        last_check=_last_check(job, store, settings, last),
        touches=touches,
        touches_left_out=left_out,
        attachments=attachments,
        notes=notes,
        parts=list(verify_job(job)),
    )


def _last_check(
    job: Job, store: JobStore | None, settings: JobSettings, until: str
) -> RecordedCheck | None:
    """Return the newest check of a meter of this job, no newer than ``until``."""
    found = list(checks_in(job))
    if not found and store is not None:
        meters = {str(header.meter) for header in settings.headers.values() if header.meter}
        found = [
            check
            for series in gather_checks(store)
            if series.meter in meters
            for check in series.checks
            if _when(check.at) <= _when(until)
        ]
    return max(found, key=lambda check: _when(check.at), default=None)


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
    """Return the touches to draw and how many are left out; adds gaps of captures to ``notes``."""
    touches: list[TouchFacts] = []
    left_out = 0
    for path in job.captures():
        with contextlib.suppress(UnreadableError):  # the seals' table names it
            for found in held_touches(path):
                if isinstance(found, Gap):
                    if found.why in _OF_THE_WRITER:
                        began = settings.headers[path.relative_to(job.folder).as_posix()].started
                        notes.append((_later(began, found.t), _noted(found)))
                elif len(touches) < _MOST_TOUCHES:
                    touches.append(found)
                else:
                    left_out += 1
    notes.sort(key=lambda note: _when(note[0]))
    return touches, left_out


def _later(began: str, seconds: float) -> str:
    """Return the RFC 3339 time ``seconds`` after ``began``, which stands where it is none."""
    try:
        return rfc3339(read_rfc3339(began) + timedelta(seconds=seconds))
    except (UnreadableError, OverflowError, ValueError):
        return began


def _finding(stands: list[Progress], settings: JobSettings) -> Finding | None:
    outcomes = outcomes_of_cards(stands, settings.profiles.values())
    for progress in stands:
        if progress.card.complaint and outcomes:
            try:
                return find(outcomes, progress.card.complaint, parts=parts_of_cards(stands))
            except MeterlinkError:
                return None  # a card of the user's own, with checks that the table does not know
    return None


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


def _write(path: Path, page: str) -> None:
    """Replace ``path`` at once, so that no half report is ever there."""
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        draft.write_text(page, encoding="utf-8", newline="\n")
        draft.replace(path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        raise CannotWriteError(f"{plain(str(path))} cannot be written: {fault.strerror}") from fault
