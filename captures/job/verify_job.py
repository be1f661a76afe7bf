"""The gate for readers of records: is this still what was written, and all of it?

Each file is checked by its own seals. What else is known of it is held against that: the job log
says which captures and attachments there were and what they hashed to, and captures say what the
log must have held. So one that was swapped, cut short or taken away is found too.
"""

import contextlib
import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Final

from captures.job.job import CAPTURES_FOLDER, LOG_NAME, Job, LoggedCaptures, LogReader, is_logged
from captures.job.store_list import (
    LIST_NAME,
    ListCheck,
    Listed,
    has_list,
    id_of,
    last_on,
    read_list,
)
from captures.record.files import is_regular, open_regular
from captures.record.reader import read_capture
from captures.record.records import Attached, CaptureBegan, CaptureEnded, RecordError, decode
from captures.record.verify import Sealed, State, Verification, verify
from meterlink.errors import UnreadableError
from meterlink.events import Event
from meterlink.quantities.text import plain
from meterlink.wording import counted

LastOn = dict[tuple[str, str], Listed]

_WORST_FIRST: Final = (State.ALTERED, State.CUT, State.OPEN, State.WHOLE)


@dataclass(frozen=True)
class JobPart:
    """What a check found of one file of a job."""

    file: str
    """Path inside the job's folder, with forward slashes."""
    state: State
    sentence: str
    sha256: str = ""
    """Hash in its last good seal, or of an attachment as it is now."""
    first_bad_line: int | None = None
    """Where ``altered`` and known: what comes from this line on is not what was sealed."""
    key: str = ""
    """Public key of the bench that signed its final seal; empty where nobody did."""
    signed_well: bool | None = None
    """As in ``Verification``."""


@dataclass(frozen=True)
class JobCheck:
    """What a check of all files of a job found."""

    name: str
    parts: tuple[JobPart, ...]
    """The log first."""

    @property
    def state(self) -> State:
        """The worst that was found of any part."""
        found = {part.state for part in self.parts}
        return next(state for state in _WORST_FIRST if state in found)

    @property
    def sentence(self) -> str:
        """The finding in one plain sentence."""
        state, name = self.state, plain(self.name)
        if state is State.WHOLE:
            return f"{name}: whole, the log and {counted(len(self.parts) - 1, 'file')} beside it"
        bad = [part for part in self.parts if part.state is state]
        more = f"; and {counted(len(bad) - 1, 'more file')}" if len(bad) > 1 else ""
        return f"{name}: {state.value}. {bad[0].sentence}{more}"

    def part(self, file: str) -> JobPart:
        """Return what was found of one file, by its path inside the job's folder."""
        return next(part for part in self.parts if part.file == file)


def check_record(path: Path, *, thorough: bool = False) -> Verification:
    """Check one capture or job log, against the rest of the job where it lies in one.

    ``thorough`` also counts the lines under good seals that hold no record.

    Raises:
        UnreadableError: it cannot be read at all.
    """
    if path.name == LOG_NAME and path.parent.joinpath(CAPTURES_FOLDER).is_dir():
        return _Gate(Job(path.parent)).log(thorough=thorough)
    job = Job(path.parent.parent)
    if path.parent.name == CAPTURES_FOLDER and is_regular(job.log_path):
        file = f"{CAPTURES_FOLDER}/{path.name}"
        with contextlib.suppress(UnreadableError):  # of the log: then it says nothing of a capture
            gate = _Gate(job)
            return gate.capture(file, path, thorough=thorough)
    return verify(path, thorough=thorough)


def check_job(job: Job, *, thorough: bool = False, last: LastOn | None = None) -> JobCheck:
    """Check every file of a job.

    ``last`` is what the store's list says, for those who check many jobs and read it once.

    Raises:
        UnreadableError: the log itself cannot be read.
    """
    return JobCheck(job.name, tuple(verify_job(job, thorough=thorough, last=last)))


def verify_job(job: Job, *, thorough: bool = True, last: LastOn | None = None) -> Iterator[JobPart]:
    """Check every file of a job; yields one part for each, the log first. ``last`` as above.

    Raises:
        UnreadableError: the log itself cannot be read.
    """
    gate = _Gate(job, last)
    yield _part(LOG_NAME, gate.log(thorough=thorough))
    present = {path.relative_to(job.folder).as_posix() for path in job.captures()}
    for file in sorted(present | gate.told.keys()):
        yield _capture(gate, file, present, thorough=thorough)
    for _, attachment in sorted(gate.attached.items()):
        yield _attachment(job, attachment)
    for path in job.attachments():
        file = path.relative_to(job.folder).as_posix()
        if file not in gate.attached:
            yield JobPart(file, State.OPEN, f"{plain(file)}: the job log knows nothing of it")


def verify_store(root: Path, jobs: Iterable[Job], head: str = "") -> Iterator[JobPart]:
    """Check the running list of the store in ``root``, and each of ``jobs`` by it and by itself.

    ``head`` is one that was kept elsewhere, to be looked for in the list.

    Raises:
        UnreadableError: the folder, or the list, cannot be read.
    """
    on_list: dict[str, str] = {}
    last: LastOn = {}
    if has_list(root):
        listed = read_list(root)
        yield _list_part(listed)
        if head and head not in listed.heads:
            says = "the list was made again since that head was kept, or it is of another list"
            yield JobPart(LIST_NAME, State.ALTERED, f"{LIST_NAME}: {says}")
        elif head:
            yield JobPart(
                LIST_NAME, State.WHOLE, f"{LIST_NAME}: goes on from the head that was kept"
            )
        last = {(entry.log, entry.file): entry for entry in listed.entries}
        on_list = {entry.log: entry.at for entry in listed.entries if entry.file == LOG_NAME}
    elif head:
        yield JobPart(
            LIST_NAME, State.CUT, f"{LIST_NAME}: it is gone; there was one with that head"
        )
    found: set[str] = set()
    for job in jobs:
        try:
            check = check_job(job, last=last)
            job_id = id_of(job.log_path)
        except UnreadableError as fault:
            yield JobPart(job.name, State.ALTERED, str(fault), first_bad_line=1)
            continue
        found.add(job_id)
        unlisted = has_list(root) and job_id not in on_list
        if unlisted and check.state is State.WHOLE:
            says = "whole, and not on the store's list: older than the list, or made elsewhere"
            yield JobPart(job.name, State.OPEN, f"{plain(job.name)}: {says}")
        else:
            log = check.parts[0]
            yield JobPart(job.name, check.state, check.sentence, log.sha256, log.first_bad_line)
    for job_id, at in on_list.items():
        if job_id not in found:
            says = f"a job that was closed {plain(at, 40)} is gone, or its log was made again"
            yield JobPart(LIST_NAME, State.CUT, f"{LIST_NAME}: {says}")


def last_seals(root: Path) -> LastOn:
    """Return what a store's list says: nothing where it cannot be read, so that jobs still are."""
    try:
        return last_on(root)
    except UnreadableError:
        return {}


def _list_part(listed: ListCheck) -> JobPart:
    if listed.bad_line is not None:
        says = f"altered, line {listed.bad_line} does not follow from the one before it"
        return JobPart(LIST_NAME, State.ALTERED, f"{LIST_NAME}: {says}", "", listed.bad_line)
    says = f"whole, {counted(len(listed.entries), 'seal')}, head {listed.head}"
    return JobPart(LIST_NAME, State.WHOLE, f"{LIST_NAME}: {says}", listed.head)


class _Gate:
    """One job's files, and what each says of the others."""

    def __init__(self, job: Job, last: LastOn | None = None) -> None:
        self.job = job
        self._last = last_seals(job.folder.parent) if last is None else last
        self.attached: dict[str, Attached] = {}
        logged = LoggedCaptures()
        for event in _of_files(job):
            logged.take(event)
            if isinstance(event, Attached):
                self.attached[event.file] = event
        self.told = logged.by_file

    def log(self, *, thorough: bool) -> Verification:
        """Return what was found of the log."""
        listed = self._last.get((id_of(self.job.log_path), LOG_NAME)) if self._last else None
        expect = None if listed is None else Sealed(listed.lines, listed.sha256)
        check = verify(self.job.log_path, thorough=thorough, expect=expect)
        if listed is not None and not check.found and check.state is not State.ALTERED:
            if check.lines <= listed.lines:
                why = f"it ends at line {check.lines}, and the store's list says it had"
                return replace(check, state=State.CUT, why=f"{why} {listed.lines}")
            why = "its seal is not the one that the store's list names"
            return replace(check, state=State.ALTERED, why=why)
        if check.state is State.OPEN and (why := self._more_than_the_log()):
            return replace(check, state=State.CUT, why=f"it ends at line {check.lines}, and {why}")
        return check

    def capture(self, file: str, path: Path, *, thorough: bool) -> Verification:
        """Return what was found of a capture that is there."""
        told = self.told.get(file)
        ended = None if told is None else told.ended
        expect = None if ended is None else Sealed(ended.lines, ended.sha256)
        check = verify(path, thorough=thorough, expect=expect)
        if told is None or ended is None or check.state is State.ALTERED:
            return check
        if check.found and (told.again or check.sha256 == ended.sha256):
            return check
        if not check.found and check.lines <= ended.lines:
            why = f"it ends at line {check.lines}, and the job log says that it had {ended.lines}"
            return replace(check, state=State.CUT, why=why)
        why = "its seal is not the one that the job log names"
        return replace(check, state=State.ALTERED, why=why)

    def _more_than_the_log(self) -> str:
        """Return what proves that a log without final seal held more; empty for nothing.

        A capture is named in the log before it has a reading, and each of its events is in the
        log as soon as it is in the capture.
        """
        logged = LoggedCaptures()
        for entry in self.job.entries():
            logged.take(entry.event)
        for path in self.job.captures():
            told = logged.by_file.get(path.relative_to(self.job.folder).as_posix())
            if told is not None and not told.again:
                continue
            try:
                events, records = _count(path)
            except UnreadableError:
                continue
            if told is None and records:
                return f"{plain(path.name)}, which it does not name, has {records} records"
            if told is not None and events > told.events + 1:
                return f"{plain(path.name)} has {events - told.events} events more"
        return ""


_OF_FILES: Final = (b'"capture-', b'"attachment"')
"""What a line holds that tells of a file; only such lines are decoded, as most tell of none."""


def _of_files(job: Job) -> Iterator[Event]:
    """Yield what the log of ``job`` tells of its files, oldest first."""
    with LogReader(job.log_path) as log:
        for _, line in log.lines():
            if _OF_FILES[0] in line or _OF_FILES[1] in line:
                with contextlib.suppress(RecordError):
                    record = decode(line)
                    if isinstance(record, CaptureBegan | CaptureEnded | Attached):
                        yield record


def _count(path: Path) -> tuple[int, int]:
    events = records = 0
    with read_capture(path) as capture:
        for record in capture:
            records += 1
            events += is_logged(record)
    return events, records


def hash_file(path: Path) -> tuple[str, int]:
    """Return SHA-256 in hexadecimal and length in bytes of a file.

    Raises:
        UnreadableError: it cannot be read.
    """
    digest, length = hashlib.sha256(), 0
    try:
        with open_regular(path) as file:
            while piece := file.read(1 << 20):
                digest.update(piece)
                length += len(piece)
    except OSError as fault:
        raise UnreadableError(f"{plain(str(path))} cannot be read: {fault.strerror}") from fault
    return digest.hexdigest(), length


def _part(file: str, check: Verification) -> JobPart:
    sentence = f"{plain(file)}: {check.words}"
    first_bad = check.first_bad_line
    if check.state is State.ALTERED and first_bad is None:
        first_bad = 1  # it was made again, so nothing in it is what was sealed
    signed = check.key, check.signed_well
    return JobPart(file, check.state, sentence, check.sha256, first_bad, *signed)


def _capture(gate: _Gate, file: str, present: set[str], *, thorough: bool) -> JobPart:
    if file not in present:
        return JobPart(file, State.CUT, f"{plain(file)}: it is gone, and the job log names it")
    try:
        check = gate.capture(file, inside(gate.job.folder, file), thorough=thorough)
    except UnreadableError as fault:
        return JobPart(file, State.ALTERED, str(fault), first_bad_line=1)
    if file not in gate.told and check.state is not State.ALTERED:
        return JobPart(file, State.OPEN, f"{plain(file)}: the job log knows nothing of it")
    return _part(file, check)


def _attachment(job: Job, attachment: Attached) -> JobPart:
    file = attachment.file
    try:
        path = inside(job.folder, file)
        if not path.exists():
            return JobPart(file, State.CUT, f"{plain(file)}: it is gone, and the job log names it")
        found, _ = hash_file(path)
    except (OSError, UnreadableError) as fault:
        return JobPart(file, State.ALTERED, plain(str(fault), 400))
    if found != attachment.sha256:
        return JobPart(file, State.ALTERED, f"{plain(file)}: altered since it was attached", found)
    return JobPart(file, State.WHOLE, f"{plain(file)}: whole, as attached", found)


def inside(folder: Path, file: str) -> Path:
    """Return the path of ``file`` in a job's folder; a log from elsewhere may say anything.

    Raises:
        UnreadableError: it would lead out of the folder.
    """
    parts = PurePosixPath(file).parts
    path = folder.joinpath(*parts)
    odd = not parts or ".." in parts or PurePosixPath(file).is_absolute() or "\x00" in file
    if odd or path.is_symlink() or not path.resolve().is_relative_to(folder.resolve()):
        raise UnreadableError(
            f"the job log names {plain(file)!r}, which is not in the job's folder"
        )
    return path
