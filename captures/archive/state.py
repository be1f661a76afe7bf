"""What state a job's record is in, as every row of it says."""

from typing import NamedTuple

from captures.job.job import Job
from captures.job.verify_job import verify_job
from captures.record.verify import State
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain

UNREADABLE = "unreadable"
_WORST_FIRST = ("altered", "cut", "open", "whole")


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
        parts = list(verify_job(job))
    except UnreadableError as fault:
        return RecordState(UNREADABLE, plain(str(fault), 400))
    words = ["open" if part.state is State.OPEN else part.state.value for part in parts]
    worst = next(word for word in _WORST_FIRST if word in words)
    why = "" if worst == "whole" else plain(parts[words.index(worst)].sentence, 400)
    return RecordState(worst, why, parts[0].sha256)
