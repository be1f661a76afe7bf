"""A plain readings file into a capture, so that it can be sealed, replayed and reported."""

from pathlib import Path

from captures.job.job import JobWriter
from captures.job.verify_job import hash_file
from captures.record.plain_readings import PlainReader
from captures.record.records import Header
from captures.record.times import local_now, rfc3339
from captures.record.writer import PROGRAM, RecordWriter
from meterlink.events import Note
from meterlink.quantities.text import plain


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
