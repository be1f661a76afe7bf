"""Photos and other files put beside a job, by copy, with their hash in the job log."""

import hashlib
import os
from pathlib import Path
from typing import Final

from captures.job.job import ATTACHMENTS_FOLDER, JobWriter
from captures.job.names import safe_ending
from captures.job.verify_job import hash_file
from captures.record.reader import open_regular
from captures.record.records import Attached
from meterlink.errors import CannotWriteError
from meterlink.quantities.text import plain

_PIECE: Final = 1 << 20


def attach(job: JobWriter, path: Path, *, note: str = "", t: float = 0.0) -> Path:
    """Copy the file ``path`` into the job's folder and log it; return the copy.

    Raises:
        UnreadableError: it cannot be read, or is no plain file.
        CannotWriteError: the copy cannot be written; nothing of it is left.
    """
    source = open_regular(path)
    with source:
        copy = job.free_path(ATTACHMENTS_FOLDER, path.stem, safe_ending(path.name))
        digest, length = hashlib.sha256(), 0
        try:
            with copy.open("xb") as file:
                while piece := source.read(_PIECE):
                    file.write(piece)
                    digest.update(piece)
                    length += len(piece)
                file.flush()
                os.fsync(file.fileno())
        except OSError as fault:
            copy.unlink(missing_ok=True)
            raise CannotWriteError(
                f"{plain(str(path))} cannot be copied to {plain(str(copy))}: {fault.strerror}"
            ) from fault
    _log(job, copy, plain(path.name), length, digest.hexdigest(), note, t)
    return copy


def register(job: JobWriter, path: Path, *, note: str = "", t: float = 0.0) -> None:
    """Bring a file that lies among the job's attachments into the log.

    Raises:
        UnreadableError: it cannot be read.
    """
    sha256, length = hash_file(path)
    _log(job, path, plain(path.name), length, sha256, note, t)


def _log(
    job: JobWriter, path: Path, name: str, length: int, sha256: str, note: str, t: float
) -> None:
    file = path.relative_to(job.folder).as_posix()
    job.log.append(Attached(t=t, file=file, name=name, bytes=length, sha256=sha256, note=note))
