"""What is brought into a job: photos and other files by copy, and readings of other programs."""

import hashlib
import os
from pathlib import Path
from typing import Final

from captures.job.job import ATTACHMENTS_FOLDER, JobWriter
from captures.job.verify_job import hash_file
from captures.record.files import local_now, open_regular, rfc3339, safe_ending
from captures.record.readings_file import PlainReader
from captures.record.records import PROGRAM, Attached, Header
from captures.record.writer import RecordWriter
from meterlink.errors import CannotWriteError
from meterlink.events import Note
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


def import_readings(path: Path, into: JobWriter, *, started: str = "", step: str = "") -> Path:
    """Write the readings of ``path`` into a new capture of the job ``into``; return its path.

    ``started`` is the RFC 3339 time of ``t_s`` = 0, where it is known; else the capture says that
    its times are only those of the import.

    Raises:
        UnreadableError: names the line that makes no sense. What came before it is kept, with a
            note that says so.
    """
    sha256, _ = hash_file(path)
    reader = PlainReader(path)
    try:
        header = Header(
            started=started or rfc3339(local_now()),
            program=PROGRAM,
            step=step,
            settings={
                "imported_from": plain(path.name),
                "sha256": sha256,
                "start_known": bool(started),
            },
        )
        with into.new_capture(header) as capture:
            _copy(reader, capture)
        return capture.path
    finally:
        reader.close()


def _copy(reader: PlainReader, capture: RecordWriter) -> None:
    count = 0
    complete = False
    try:
        for reading in reader:
            capture.append(reading)
            count += 1
        complete = True
    finally:
        said = f"{count} readings imported, {reader.dropped} not-a-numbers left out"
        if not complete:
            said += "; the rest of the file could not be read"
        capture.append(Note(t=capture.last_t, text=said))
