"""Where records to replay are found: a path, a job, an exercise of the library."""

from pathlib import Path

from captures.record.files import is_regular
from captures.training.catalogue import read_library
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain
from tui.session.setup import job_store


def find_records(what: str, jobs: str | None) -> list[Path]:
    """Return the captures that ``what`` names, in the order in which they were begun.

    Raises:
        UnreadableError: there is nothing of that name, or the job has no capture.
    """
    path = Path(what)
    if is_regular(path):
        return [path]
    try:
        job = job_store(jobs).job(what)
    except UnreadableError as fault:
        exercise = read_library().find(what)
        if exercise is not None:
            return [exercise.capture]
        raise UnreadableError(
            f"there is no capture, exercise or job {plain(what)!r}; «meterlink library» lists "
            "the exercises, «meterlink jobs» the jobs"
        ) from fault
    captures = job.captures()
    if not captures:
        raise UnreadableError(f"the job {plain(job.name)} has no capture yet")
    return captures
