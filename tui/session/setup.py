"""From what the user asked for to a session ready to run: job, capture, bench, source."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import meterlink
from captures.job.job import Job, JobWriter
from captures.job.store import JobStore
from captures.record.records import Header
from captures.record.replay_setup import settings_for
from captures.record.replay_setup import settings_of as settings_of
from captures.record.times import local_now, rfc3339
from drivers.clock import Clock
from meterlink.bench.bench import Bench
from meterlink.card import Card
from meterlink.declared import from_plain
from meterlink.events import Event
from meterlink.profile import Profile
from meterlink.source import Accuracy, Identity, Source
from tui.program_fault import working_on
from tui.session.resuming import called
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
        settings=settings_for(card, profile, past=past) | (settings or {}),
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
        card, profile, source.identity, accuracy=accuracy, past=past, settings=settings
    )
    bench = Bench(card, profile, accuracy=accuracy, past=past)
    with job.new_capture(header) as capture:
        sitting = Session(bench, source, job, capture, clock)
        try:
            yield sitting
        finally:
            sitting.close()
