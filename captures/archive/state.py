"""What state a job's record is in, as every row of it says."""

from typing import NamedTuple

from captures.job.job import Job
from captures.job.verify_job import check_job
from captures.record.verify import State
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain

UNREADABLE = "unreadable"


class RecordState(NamedTuple):
    """What a check of all files of a job found."""

    record: str
    """``whole``, ``open``, ``cut`` or ``altered``, the worst of any file; ``unreadable``: the log
    itself cannot be read."""
    why: str = ""
    """What is wrong, in a sentence; empty for a whole record."""
    seal: str = ""
    """SHA-256 in the log's last good seal."""
    signed: bool | None = None
    """Whether the signature is good; None where there is none, or it cannot be checked."""


def state_of(job: Job) -> RecordState:
    """Check every file of ``job``.

    This is the one place where the archive learns it, so that it says what every reader says.
    """
    try:
        check = check_job(job, thorough=True)
    except UnreadableError as fault:
        return RecordState(UNREADABLE, plain(str(fault), 400))
    why = "" if check.state is State.WHOLE else plain(check.sentence, 400)
    log = check.parts[0]
    return RecordState(check.state.value, why, log.sha256, log.signed_well)
