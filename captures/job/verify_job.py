"""Is a whole job still what was written: log, captures and attachments against each other.

Each file is checked by its own seals, and the log says which captures and attachments there
were and what they hashed to, so one that was swapped or taken away is found too.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from captures.job.job import Job
from captures.record.reader import open_regular
from captures.record.records import Attached, CaptureBegan, CaptureEnded
from captures.record.verify import State, Verification, verify
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain


@dataclass(frozen=True)
class JobPart:
    """What a check found of one file of a job."""

    file: str
    """Path inside the job's folder, with forward slashes."""
    state: State
    sentence: str
    sha256: str = ""
    """Hash in its last good seal, or of an attachment as it is now."""


def verify_job(job: Job) -> Iterator[JobPart]:
    """Check every file of a job; yields one part for each, the log first.

    Raises:
        UnreadableError: the log itself cannot be read.
    """
    log = verify(job.log_path)
    yield _part(job, log)
    began: dict[str, CaptureEnded | None] = {}
    attached: dict[str, Attached] = {}
    for entry in job.entries():
        match entry.event:
            case CaptureBegan(file=file):
                began[file] = None
            case CaptureEnded(file=file) as ended:
                began[file] = ended
            case Attached(file=file) as attachment:
                attached[file] = attachment
    present = {path.relative_to(job.folder).as_posix() for path in job.captures()}
    for file in sorted(present | began.keys()):
        yield _capture(job, file, began)
    for _, attachment in sorted(attached.items()):
        yield _attachment(job, attachment)
    for path in job.attachments():
        file = path.relative_to(job.folder).as_posix()
        if file not in attached:
            yield JobPart(file, State.OPEN, f"{plain(file)}: the job log knows nothing of it")


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


def _part(job: Job, check: Verification) -> JobPart:
    file = check.path.relative_to(job.folder).as_posix()
    return JobPart(file, check.state, check.sentence, check.sha256)


def _capture(job: Job, file: str, began: dict[str, CaptureEnded | None]) -> JobPart:
    try:
        check = verify(inside(job.folder, file))
    except UnreadableError as fault:
        return JobPart(file, State.ALTERED, str(fault))
    part = _part(job, check)
    if check.state is State.ALTERED:
        return part
    if file not in began:
        return JobPart(file, State.OPEN, f"{plain(file)}: the job log knows nothing of it")
    ended = began[file]
    if ended is not None and ended.sha256 != check.sha256:
        return JobPart(
            file,
            State.ALTERED,
            f"{plain(file)}: altered, its seal is not the one that the job log names",
            check.sha256,
        )
    return part


def _attachment(job: Job, attachment: Attached) -> JobPart:
    file = attachment.file
    try:
        found, _ = hash_file(inside(job.folder, file))
    except UnreadableError as fault:
        return JobPart(file, State.ALTERED, str(fault))
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
