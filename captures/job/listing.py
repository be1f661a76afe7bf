"""One line about each job, without reading all of it: ten thousand jobs must list quickly."""

import os
from collections.abc import Iterable, Iterator
from enum import Enum
from typing import BinaryIO, Final

import msgspec

from captures.job.job import CAPTURES_FOLDER, Job
from captures.record.reader import check_version
from captures.record.records import LOG_FORMAT, LONGEST_LINE, Header, RecordError, decode
from meterlink.errors import UnreadableError
from meterlink.events import CardBegan, CardEnded, Event, StepBegan, StepReopened
from meterlink.quantities.text import plain


class JobStatus(Enum):
    """How far a job has come. The value is the word in JSON."""

    BEGUN = "begun"
    """No card was begun in it."""
    UNDER_WAY = "under-way"
    """A card was begun and has steps without outcome."""
    DONE = "done"
    """Every step of the last card has an outcome."""
    SIGNED_OFF = "signed-off"
    """Done, and signed off after the stop check."""
    UNREADABLE = "unreadable"
    """The log cannot be read; ``title`` says why."""


class JobSummary(msgspec.Struct, frozen=True, kw_only=True):
    """What a list says of one job."""

    job: str
    """Name of its folder."""
    title: str
    started: str
    """RFC 3339."""
    standing: JobStatus
    captures: int


class _Head(msgspec.Struct, tag_field="kind", tag="header"):
    """The few keys of a log's header that a list needs; the rest is not even looked at."""

    format: str
    version: str
    started: str
    title: str = ""


_HEAD: Final = msgspec.json.Decoder(_Head)

_TAIL: Final = 8192
"""Bytes from the end of a log in which the last event of its card is looked for first."""

_BUFFER: Final = 32_768
"""Holds the header of a usual log and most of the rest."""


def list_jobs(
    jobs: Iterable[Job],
    *,
    match: str = "",
    since: str = "",
    until: str = "",
    standing: JobStatus | None = None,
) -> Iterator[JobSummary]:
    """Yield what there is to say of ``jobs``, in their order.

    ``match`` is looked for in title and name, letter case aside; ``since`` and ``until`` are days
    as ``2026-11-03``, both included.
    """
    wanted = match.casefold()
    for job in jobs:
        day = job.name[:10]
        if (since and day < since) or (until and day > until):
            continue
        listed = _look_at(job, wanted)
        if listed is not None and (standing is None or listed.standing is standing):
            yield listed


def standing_of(job: Job) -> JobStatus:
    """Return how far one job has come."""
    found = _look_at(job, "")
    return JobStatus.UNREADABLE if found is None else found.standing


def _look_at(job: Job, wanted: str) -> JobSummary | None:
    """Return the line about one job; None where its title and name do not hold ``wanted``."""
    try:
        with job.log_path.open("rb", buffering=_BUFFER) as log:
            head = _read_head(job, log)
            if wanted and wanted not in f"{head.title}\n{job.name}".casefold():
                return None
            return JobSummary(
                job=job.name,
                title=plain(head.title),
                started=plain(head.started, 40),
                standing=_standing(job, log),
                captures=_count_captures(job),
            )
    except OSError as fault:
        why = f"{plain(str(job.log_path))} cannot be read: {fault.strerror}"
    except UnreadableError as fault:
        why = str(fault)
    return JobSummary(
        job=job.name, title=why, started="", standing=JobStatus.UNREADABLE, captures=0
    )


def _read_head(job: Job, log: BinaryIO) -> _Head:
    name = plain(str(job.log_path))
    try:
        head = _HEAD.decode(log.readline(LONGEST_LINE))
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        raise UnreadableError(f"{name} does not begin with a header") from fault
    if head.format != LOG_FORMAT:
        raise UnreadableError(f"{name} is no job log")
    check_version(name, Header(started="", program="", version=head.version))
    return head


def _count_captures(job: Job) -> int:
    try:
        with os.scandir(job.folder / CAPTURES_FOLDER) as entries:
            return sum(entry.name.endswith(".jsonl") for entry in entries)
    except OSError:
        return 0


def _standing(job: Job, log: BinaryIO) -> JobStatus:
    for event in _from_the_end(job, log):
        match event:
            case CardEnded(signed_off=True):
                return JobStatus.SIGNED_OFF
            case CardEnded():
                return JobStatus.DONE
            case CardBegan() | StepBegan() | StepReopened():
                return JobStatus.UNDER_WAY
    return JobStatus.BEGUN


def _from_the_end(job: Job, log: BinaryIO) -> Iterator[Event]:
    """Yield events newest first: those near the end, and then, only if asked for, all."""
    size = log.seek(0, os.SEEK_END)
    log.seek(max(0, size - _TAIL))
    lines = log.read(_TAIL).split(b"\n")
    yield from _events(reversed(lines if size <= _TAIL else lines[1:]))
    if size > _TAIL:
        yield from reversed([entry.event for entry in job.entries()])


def _events(lines: Iterable[bytes]) -> Iterator[Event]:
    for line in lines:
        try:
            record = decode(line)
        except RecordError:
            continue
        if isinstance(record, Event):
            yield record
