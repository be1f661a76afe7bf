"""The folder that all jobs lie in, and one line about each.

A list reads the beginning and the end of a log only: ten thousand jobs must list quickly.
"""

import contextlib
import os
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator
from enum import Enum
from pathlib import Path
from typing import BinaryIO, Final

import msgspec

from captures.job.job import (
    CAPTURES_FOLDER,
    LOG_NAME,
    Job,
    JobLog,
    JobWriter,
    WallClock,
    first_line,
)
from captures.record.append_file import OnTrouble
from captures.record.files import begin_file, is_regular, local_now, safe_name
from captures.record.records import LOG_FORMAT, Header, RecordError, check_version, decode
from captures.record.seals import LONGEST_LINE
from captures.record.verify import State
from meterlink.errors import CannotWriteError, UnreadableError
from meterlink.events import CardBegan, CardEnded, Event, StepBegan, StepReopened
from meterlink.quantities.text import plain


def default_root() -> Path:
    """Return where jobs lie unless the user says otherwise: the user's own data folder."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "jobs"


class JobStore:
    """All jobs under one folder, which is made when the first job is."""

    def __init__(
        self, root: Path | None = None, *, opened: Callable[[JobWriter], None] | None = None
    ) -> None:
        """``opened`` is told of every job that is begun or gone on with."""
        self.root = root if root is not None else default_root()
        self._opened = opened or (lambda _job: None)

    def create(
        self,
        title: str,
        *,
        settings: dict[str, object] | None = None,
        clock: WallClock = local_now,
        on_trouble: OnTrouble | None = None,
    ) -> JobWriter:
        """Make a job's folder, named by the day and ``title``, and begin its log.

        Raises:
            CannotWriteError: the folder cannot be made or written.
        """
        name = f"{clock():%Y-%m-%d}-{safe_name(title, 'job')}"
        line = first_line(title, settings or {}, clock)
        job = Job(self._make_folder(name, line))
        log = JobLog.take_up(job.log_path, line, on_trouble=on_trouble)
        log.clock = clock
        return self._told(JobWriter(job, log, on_trouble))

    def resume(
        self, name: str, *, clock: WallClock = local_now, on_trouble: OnTrouble | None = None
    ) -> JobWriter:
        """Go on with a job.

        Raises:
            InUseError: another program works on it.
            UnreadableError: there is none of that name, or its log cannot be read.
        """
        return self._told(JobWriter.resume(self.job(name), clock=clock, on_trouble=on_trouble))

    def _told(self, job: JobWriter) -> JobWriter:
        self._opened(job)
        return job

    def jobs(self) -> Iterator[Job]:
        """Yield every job, newest day first.

        Raises:
            UnreadableError: the folder exists and cannot be read.
        """
        if not self.root.exists():
            return
        try:
            names = sorted(
                (p.name for p in self.root.iterdir() if not p.name.startswith(".")), reverse=True
            )
        except OSError as fault:
            raise UnreadableError(
                f"{plain(str(self.root))} cannot be read: {fault.strerror}"
            ) from fault
        for name in names:
            job = Job(self.root / name)
            if is_regular(job.log_path):
                yield job

    def job(self, name: str) -> Job:
        """Return the job whose folder is called ``name``, or whose path that is.

        Raises:
            UnreadableError: there is none.
        """
        for folder in (self.root / name, Path(name)):
            if is_regular(folder / LOG_NAME):
                return Job(folder)
        raise UnreadableError(
            f"there is no job {plain(name)!r} in {plain(str(self.root))}; "
            "`meterlink jobs` lists those that are"
        )

    def folder(self, name: str) -> Job:
        """Return the job whose folder is called ``name``, though it may have no log.

        Raises:
            UnreadableError: there is no such folder.
        """
        for folder in (self.root / name, Path(name)):
            if folder.is_dir():
                return Job(folder)
        return self.job(name)

    def adopt(self, folder: Path, name: str) -> Path:
        """Give a finished folder of this store the name ``name``, or the next one that is free."""
        for number in _NUMBERS:
            path = self.root / _numbered(name, number)
            # Renaming may replace an empty folder on some systems, so look first.
            if path.exists():
                continue
            try:
                return folder.rename(path)
            except OSError:
                if not path.exists():
                    raise  # else another program took the name just now
        raise _too_many(name)

    def _make_folder(self, name: str, line: bytes) -> Path:
        """Make a job's folder with its log begun in it: there whole, or not under its name."""
        draft = self.root / f"{BEGUN}{secrets.token_hex(8)}"
        try:
            self.root.mkdir(parents=True, exist_ok=True)
            draft.mkdir()
            try:
                begin_file(draft / LOG_NAME, line)
                return self.adopt(draft, name)
            except BaseException:
                shutil.rmtree(draft, ignore_errors=True)
                raise
        except OSError as fault:
            raise CannotWriteError(
                f"no job can be made in {plain(str(self.root))}: {fault.strerror}; "
                "choose another folder with --jobs"
            ) from fault


BEGUN: Final = ".begun-"
"""How the folder of a job is called before its log is begun in it."""

_NUMBERS: Final = range(1, 10_000)


def _numbered(name: str, number: int) -> str:
    return name if number == 1 else f"{name}-{number}"


def _too_many(name: str) -> CannotWriteError:
    return CannotWriteError(f"{plain(name)} exists ten thousand times; choose another title")


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
    record: str = ""
    """``whole``, ``open``, ``cut`` or ``altered``: what a check of its files found; empty where
    nobody asked, or the log cannot be read."""


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
    state_of: Callable[[Job], State] | None = None,
) -> Iterator[JobSummary]:
    """Yield what there is to say of ``jobs``, in their order.

    ``match`` is looked for in title and name, letter case aside; ``since`` and ``until`` are days
    as ``2026-11-03``, both included. ``state_of`` says what state a job's record is in.
    """
    wanted = match.casefold()
    for job in jobs:
        day = job.name[:10]
        if (since and day < since) or (until and day > until):
            continue
        listed = _look_at(job, wanted)
        if listed is None or (standing is not None and listed.standing is not standing):
            continue
        if state_of is not None and listed.standing is not JobStatus.UNREADABLE:
            with contextlib.suppress(UnreadableError):
                listed = msgspec.structs.replace(listed, record=state_of(job).value)
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
