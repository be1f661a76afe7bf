"""From what the user asked for to a session ready to run: job, capture, bench, source."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple

import meterlink
from captures.job.job import Job, JobWriter
from captures.job.store import JobStatus, JobStore, JobSummary, list_jobs, standing_of
from captures.record.files import local_now, rfc3339, safe_name
from captures.record.records import Header
from captures.record.replay import settings_for
from captures.record.replay import settings_of as settings_of
from drivers.clock import Clock
from meterlink.bench.bench import Bench
from meterlink.card import Card
from meterlink.declared import from_plain
from meterlink.errors import UnreadableError, UsageError
from meterlink.events import Event
from meterlink.judging.accuracy import Accuracy
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.source import Identity, Source
from tui.program_fault import working_on
from tui.session.session import Session


def job_store(folder: str | None) -> JobStore:
    """Return the store in ``folder``, or the user's own."""
    return JobStore(None if folder is None else Path(folder), opened=working_on)


class Resumed(NamedTuple):
    """A job to go on with, and what it was worked by so far."""

    job: JobWriter
    card: Card
    profile: Profile
    past: list[Event]


def resume_job(store: JobStore, name: str) -> Resumed | None:
    """Open the job called ``name`` to go on with it; None where there is none of that name.

    Raises:
        UsageError: several jobs are called so, or the name of one only begins so.
        InUseError: another program works on it.
        UnreadableError: its log cannot be read.
        InvalidFileError: the log does not say by what card and profile.
    """
    job = called(store, name)
    if job is None:
        return None
    card, profile = worked_by(job)
    past = [entry.event for entry in job.entries()]
    return Resumed(store.resume(str(job.folder)), card, profile, past)


def worked_by(job: Job) -> tuple[Card, Profile]:
    """Return the card and the profile that a job goes by.

    Raises:
        UnreadableError: its log cannot be read.
        InvalidFileError: the log does not say by what card and profile.
    """
    settings = job.header().settings
    where = f"the log of {job.name}"
    card = from_plain(settings.get("card"), Card, where)
    return card, from_plain(settings.get("profile"), Profile, where)


def header_for(
    card: Card,
    profile: Profile,
    meter: Identity,
    *,
    accuracy: tuple[Accuracy, ...] = (),
    past: Iterable[Event] = (),
    settings: dict[str, Any] | None = None,
    confirms: bool = False,
) -> Header:
    """Return the header of a capture that begins now: with it, the capture replays exactly.

    ``settings``: anything else worth keeping, such as scenario and seed.
    """
    return Header(
        started=rfc3339(local_now()),
        program=f"meterlink {meterlink.__version__}",
        meter=meter,
        accuracy=accuracy,
        profile=profile.id,
        card=card.id,
        settings=settings_for(card, profile, past=past, confirms=confirms) | (settings or {}),
    )


@contextmanager
def session(
    job: JobWriter,
    source: Source,
    clock: Clock,
    card: Card,
    profile: Profile,
    *,
    accuracy: tuple[Accuracy, ...] = (),
    past: Sequence[Event] = (),
    settings: dict[str, Any] | None = None,
) -> Iterator[Session]:
    """Begin a capture in ``job`` and yield a session over it; closed and sealed at the end.

    ``settings`` go into the capture's header beside what the bench was made from.
    """
    header = header_for(
        card,
        profile,
        source.identity,
        accuracy=accuracy,
        past=past,
        settings=settings,
        confirms=True,
    )
    bench = Bench(card, profile, accuracy=accuracy, past=past, confirms=True)
    with job.new_capture(header) as capture:
        sitting = Session(bench, source, job, capture, clock)
        try:
            yield sitting
        finally:
            sitting.close()


_MOST_NAMED: Final = 5
_DAY: Final = len("2026-11-03-")


def called(store: JobStore, name: str) -> Job | None:
    """Return the job whose folder, or whose title, is exactly ``name``; None where there is none.

    Raises:
        UsageError: several jobs have this title, or the name of one only begins so.
        UnreadableError: the folder of all jobs cannot be read.
    """
    try:
        return store.job(name)
    except UnreadableError:
        pass  # no folder is called so: it may be a title
    titled, begins = [], []
    for job in list_jobs(store.jobs()):
        if job.standing is JobStatus.UNREADABLE:
            continue
        if job.title == plain(name):
            titled.append(job)
        elif _begins(job, name):
            begins.append(job)
    if len(titled) == 1:
        return store.job(titled[0].job)
    if titled:
        raise UsageError(
            f"{len(titled)} jobs have the title “{plain(name)}”: {_names(titled)}; "
            "go on with one of them by --job and that name, or begin another with --new TITLE"
        )
    if begins:
        raise UsageError(
            f"there is no job “{plain(name)}”, but the name of {_names(begins)} begins so; go on "
            f"with that by --job {_word(begins[0].job)}, or begin a new job by --new {_word(name)}"
        )
    return None


def check_open(job: Job, *, redo: bool = False) -> None:
    """Refuse a job that is finished, unless a step of it is to be done again.

    Raises:
        UsageError: it is signed off; or every step has its outcome and ``redo`` is not set.
    """
    standing = standing_of(job)
    if standing is JobStatus.SIGNED_OFF:
        raise UsageError(
            f"the job {plain(job.name)} is signed off and stays as it is; "
            "begin another with --new TITLE"
        )
    if standing is JobStatus.DONE and not redo:
        raise UsageError(
            f"every step of the job {plain(job.name)} is done; do one again with --redo STEP, "
            "or begin another job with --new TITLE"
        )


def check_same(job: Job, kind: str, own: Card | Profile, given: Card | Profile | None) -> None:
    """Refuse a card or profile other than the one that the job goes by.

    Raises:
        UsageError: ``given`` is another ``kind`` than the job's ``own``.
    """
    if given is not None and given.id != own.id:
        raise UsageError(
            f"the job {plain(job.name)} goes by the {kind} {plain(own.id)}, not "
            f"{plain(given.id)}; leave --{kind} out, or begin another job with --new TITLE"
        )


def _begins(job: JobSummary, name: str) -> bool:
    """Return whether ``name`` is the beginning of a job's title or folder, or nearly its title."""
    said, as_folder = name.casefold(), safe_name(name, "")
    return (
        job.title.casefold().startswith(said)
        or job.job.casefold().startswith(said)
        or bool(as_folder and job.job[_DAY:].startswith(as_folder))
    )


def _names(jobs: Sequence[JobSummary]) -> str:
    """Return the names of jobs, as many as one sentence bears."""
    names = [plain(job.job) for job in jobs[:_MOST_NAMED]]
    more = len(jobs) - len(names)
    return ", ".join(names) + (f" and {more} more" if more else "")


def _word(name: str) -> str:
    """Return a name as it is typed on a command line."""
    return f'"{plain(name)}"'
