"""Erasure: a customer's name or a serial number struck from a job, its seals still good.

What is struck is replaced by a salted digest, which is what the seals were made of (see
``seals.as_sealed``), and the log says that something was struck.
"""

import os
from pathlib import Path

from captures.job.job import Job, JobWriter
from captures.record.files import safe_name
from captures.record.records import Struck
from captures.record.seals import as_sealed, texts_of
from captures.record.verify import State, verify
from meterlink.errors import CannotWriteError, FaultFoundError
from meterlink.quantities.text import plain


def strike(job: Job, wanted: str, *, reason: str = "", who: str = "") -> tuple[Job, int]:
    """Strike every text with ``wanted`` in it from a job, and say so in its log.

    Returns the job, whose folder has another name where its own said that text, and the number of
    lines. Reports in the folder are taken away, as they can be made again.

    Raises:
        InUseError: a program works on the job.
        FaultFoundError: a record of it is altered; nothing was struck.
        CannotWriteError: a record cannot be replaced.
    """
    JobWriter.resume(job).close()  # what a crash left open is closed first
    records = [job.log_path, *job.captures()]
    for path in records:
        if verify(path, thorough=False).state is State.ALTERED:
            raise FaultFoundError(f"{plain(path.name)} is altered; nothing was struck")
    try:
        count = sum(_strike_from(path, wanted) for path in records)
        if count:
            with JobWriter.resume(job) as writer:
                writer.log.append(Struck(t=0.0, lines=count, reason=reason, who=who))
            for page in job.folder.glob("report*.html"):
                page.unlink()
            if safe_name(wanted, "-") in job.folder.name:
                job = Job(_renamed(job.folder))
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(job.name)} cannot be rewritten: {fault.strerror}"
        ) from fault
    return job, count


def _renamed(folder: Path) -> Path:
    """Give a job's folder a name that says nothing but its day."""
    for number in range(1, 10_000):
        path = folder.with_name(f"{folder.name[:10]}-struck-{number}")
        if not path.exists():
            return folder.rename(path)
    raise CannotWriteError(f"{plain(folder.name)} cannot be renamed; too many are struck that day")


def _strike_from(path: Path, wanted: str) -> int:
    """Strike every text with ``wanted`` in it from a record; return from how many lines.

    Letter case is not looked at. The file is replaced as a whole; what was struck is gone.
    """
    count = 0
    draft = path.with_name(f".{path.name}.striking")
    try:
        with path.open("rb") as source, draft.open("xb") as target:
            for line in source:
                if any(wanted.casefold() in text.casefold() for text in texts_of(line)):
                    line = as_sealed(line)  # struck is what it is sealed as
                    count += 1
                target.write(line)
            target.flush()
            os.fsync(target.fileno())
        if count:
            draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    return count
