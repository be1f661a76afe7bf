"""One line about each job, without reading all of it: ten thousand jobs must list quickly."""

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Final

import msgspec

from captures.job import Job
from captures.reader import check_version, open_regular
from captures.records import LOG_FORMAT, LONGEST_LINE, Header, RecordError, decode
from captures.store import JobStore
from meterlink.errors import UnreadableError
from meterlink.events import CardBegan, CardEnded, Event, StepBegan, StepReopened
from meterlink.text import plain


class Standing(Enum):
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


class Listed(msgspec.Struct, frozen=True, kw_only=True):
    """What a list says of one job."""

    job: str
    """Name of its folder."""
    title: str
    started: str
    """RFC 3339."""
    standing: Standing
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


def list_jobs(
    store: JobStore,
    *,
    match: str = "",
    since: str = "",
    until: str = "",
    standing: Standing | None = None,
) -> Iterator[Listed]:
    """Yield the jobs of ``store``, newest day first.

    ``match`` is looked for in title and name, letter case aside; ``since`` and ``until`` are days
    as ``2026-11-03``, both included.
    """
    wanted = match.casefold()
    for job in store.jobs():
        day = job.name[:10]
        if (since and day < since) or (until and day > until):
            continue
        listed = _look_at(job)
        if wanted and wanted not in f"{listed.title}\n{listed.job}".casefold():
            continue
        if standing is None or listed.standing is standing:
            yield listed


def _look_at(job: Job) -> Listed:
    try:
        head = _read_head(job.log_path)
        return Listed(
            job=job.name,
            title=plain(head.title),
            started=plain(head.started, 40),
            standing=_standing(job),
            captures=len(job.captures()),
        )
    except UnreadableError as fault:
        return Listed(
            job=job.name, title=str(fault), started="", standing=Standing.UNREADABLE, captures=0
        )


def _read_head(path: Path) -> _Head:
    with open_regular(path) as file:
        line = file.readline(LONGEST_LINE)
    try:
        head = _HEAD.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        raise UnreadableError(f"{plain(str(path))} does not begin with a header") from fault
    if head.format != LOG_FORMAT:
        raise UnreadableError(f"{plain(str(path))} is no job log")
    check_version(plain(str(path)), Header(started="", program="", version=head.version))
    return head


def _standing(job: Job) -> Standing:
    for event in _from_the_end(job.log_path):
        match event:
            case CardEnded(signed_off=True):
                return Standing.SIGNED_OFF
            case CardEnded():
                return Standing.DONE
            case CardBegan() | StepBegan() | StepReopened():
                return Standing.UNDER_WAY
    return Standing.BEGUN


def _from_the_end(path: Path) -> Iterator[Event]:
    """Yield events newest first: those near the end, and then, only if asked for, all."""
    with open_regular(path) as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - _TAIL))
        lines = file.read(_TAIL).split(b"\n")
    yield from _events(reversed(lines if size <= _TAIL else lines[1:]))
    if size > _TAIL:
        yield from reversed([entry.event for entry in Job(path.parent).entries()])


def _events(lines: Iterator[bytes]) -> Iterator[Event]:
    for line in lines:
        try:
            record = decode(line)
        except RecordError:
            continue
        if isinstance(record, Event):
            yield record
