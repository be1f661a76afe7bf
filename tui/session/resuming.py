"""Which job a name means, so that none is gone on with, or begun, by mistake."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from captures.job.job import Job
from captures.job.listing import JobStatus, JobSummary, list_jobs, standing_of
from captures.job.names import safe_name
from captures.job.store import JobStore
from meterlink.errors import UnreadableError, UsageError
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    from meterlink.card import Card
    from meterlink.profile import Profile

_MOST_NAMED: Final = 5
_DAY: Final = len("2026-11-03-")


def called(store: JobStore, name: str) -> Job | None:
    """Return the job whose folder, or whose title, is exactly ``name``; None where there is none.

    Raises:
        UsageError: several jobs have this title, or the name of one only begins so.
        UnreadableError: the folder of all jobs cannot be read.
    """
    try:
        return store.job(name)
    except UnreadableError:
        pass  # no folder is called so: it may be a title
    titled, begins = [], []
    for job in list_jobs(store):
        if job.standing is JobStatus.UNREADABLE:
            continue
        if job.title == plain(name):
            titled.append(job)
        elif _begins(job, name):
            begins.append(job)
    if len(titled) == 1:
        return store.job(titled[0].job)
    if titled:
        raise UsageError(
            f"{len(titled)} jobs have the title «{plain(name)}»: {_names(titled)}; "
            "go on with one of them by --job and that name, or begin another with --new TITLE"
        )
    if begins:
        raise UsageError(
            f"there is no job «{plain(name)}», but the name of {_names(begins)} begins so; go on "
            f"with that by --job {_word(begins[0].job)}, or begin a new job by --new {_word(name)}"
        )
    return None


def check_open(job: Job, *, redo: bool = False) -> None:
    """Refuse a job that is finished, unless a step of it is to be done again.

    Raises:
        UsageError: it is signed off; or every step has its outcome and ``redo`` is not set.
    """
    standing = standing_of(job)
    if standing is JobStatus.SIGNED_OFF:
        raise UsageError(
            f"the job {plain(job.name)} is signed off and stays as it is; "
            "begin another with --new TITLE"
        )
    if standing is JobStatus.DONE and not redo:
        raise UsageError(
            f"every step of the job {plain(job.name)} is done; do one again with --redo STEP, "
            "or begin another job with --new TITLE"
        )


def check_same(job: Job, kind: str, own: "Card | Profile", given: "Card | Profile | None") -> None:
    """Refuse a card or profile other than the one that the job goes by.

    Raises:
        UsageError: ``given`` is another ``kind`` than the job's ``own``.
    """
    if given is not None and given.id != own.id:
        raise UsageError(
            f"the job {plain(job.name)} goes by the {kind} {plain(own.id)}, not "
            f"{plain(given.id)}; leave --{kind} out, or begin another job with --new TITLE"
        )


def _begins(job: JobSummary, name: str) -> bool:
    """Return whether ``name`` is the beginning of a job's title or folder, or nearly its title."""
    said, as_folder = name.casefold(), safe_name(name, "")
    return (
        job.title.casefold().startswith(said)
        or job.job.casefold().startswith(said)
        or bool(as_folder and job.job[_DAY:].startswith(as_folder))
    )


def _names(jobs: Sequence[JobSummary]) -> str:
    """Return the names of jobs, as many as one sentence bears."""
    names = [plain(job.job) for job in jobs[:_MOST_NAMED]]
    more = len(jobs) - len(names)
    return ", ".join(names) + (f" and {more} more" if more else "")


def _word(name: str) -> str:
    """Return a name as it is typed on a command line."""
    return f'"{plain(name)}"'
