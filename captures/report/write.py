"""From a job's folder to the finished file."""

import contextlib
import os
from enum import Enum
from pathlib import Path

from captures.job.card_progress import FindCard
from captures.job.job import Job
from captures.job.store import JobStore
from captures.job.verify_job import JobCheck
from captures.report.gather import gather
from meterlink.errors import CannotWriteError
from meterlink.quantities.text import plain


class Audience(Enum):
    """Who a report is for. The value goes into the file's name."""

    WORKSHOP = ""
    CUSTOMER = "customer"

    @property
    def file_name(self) -> str:
        """What the report is called in the job's folder."""
        return f"report-{self.value}.html" if self.value else "report.html"


def write_report(
    job: Job,
    shelved: FindCard,
    audience: Audience = Audience.WORKSHOP,
    target: Path | None = None,
    store: JobStore | None = None,
    check: JobCheck | None = None,
) -> Path:
    """Write the report of ``job`` into its folder, or to ``target``; return where.

    ``check`` is what a check of its files found, where one was made already.

    ``store`` is where the meter's last check is looked for if the job itself has none.

    An older report there is replaced, as it can be made again from the record at any time.

    Raises:
        UnreadableError: the job's log cannot be read.
        CannotWriteError: the file cannot be written.
    """
    from captures.report.page import fill  # brings the plotting library, half a second of it

    page = fill(gather(job, shelved, store, check), audience.value or "workshop")
    path = target if target is not None else job.folder / audience.file_name
    _write(path, page)
    return path


def _write(path: Path, page: str) -> None:
    """Replace ``path`` at once, so that no half report is ever there."""
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        draft.write_text(page, encoding="utf-8", newline="\n")
        draft.replace(path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        raise CannotWriteError(f"{plain(str(path))} cannot be written: {fault.strerror}") from fault
