"""Photos and other files put beside a job, by copy, with their hash in the job log."""

import hashlib
import os
from pathlib import Path
from typing import Final

from captures.job.job import ATTACHMENTS_FOLDER, JobWriter
from captures.job.names import safe_ending
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
    job.log.append(
        Attached(
            t=t,
            file=copy.relative_to(job.folder).as_posix(),
            name=plain(path.name),
            bytes=length,
            sha256=digest.hexdigest(),
            note=note,
        )
    )
    return copy
