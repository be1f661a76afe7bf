"""What crashes and slips leave behind in a store, named, and mended where it can be.

Nothing is ever deleted, and nothing that was sealed is sealed again: an altered record stays as it
is, and is named.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final, NamedTuple

from captures.job.attachments import register
from captures.job.job import CAPTURES_FOLDER, LOG_NAME, Job, JobWriter, first_line
from captures.job.store import BEGUN, JobStore
from captures.job.store_list import has_list, id_of, last_on, put_on_list
from captures.job.verify_job import JobCheck, check_job
from captures.record.files import begin_file, is_regular, local_now, read_rfc3339
from captures.record.reader import read_capture
from captures.record.records import LOG_FORMAT, Header, RecordError, decode
from captures.record.verify import State, verify
from meterlink.errors import CannotWriteError, InUseError, MeterlinkError, UnreadableError
from meterlink.quantities.text import plain

SET_ASIDE: Final = ".set-aside"
"""Folder in the store for what is no job, and never deleted."""

_LEFT_OVER: Final = (BEGUN, ".unpacking-")
"""How folders are called that a program was making when it was stopped."""


class Leftover(NamedTuple):
    """One thing that was not as it should be."""

    job: str
    says: str
    """What it is, and what was done or is to be done, in one sentence."""
    mended: bool


def mend_store(store: JobStore) -> Iterator[Leftover]:
    """Mend everything in ``store``; yield what was found.

    Raises:
        UnreadableError: the folder cannot be read.
    """
    try:
        folders = sorted(path for path in store.root.iterdir() if path.is_dir())
    except FileNotFoundError:
        return
    except OSError as fault:
        raise UnreadableError(
            f"{plain(str(store.root))} cannot be read: {fault.strerror}"
        ) from fault
    for folder in folders:
        if folder.name.startswith(_LEFT_OVER):
            yield _mend_left_over(store, folder)
        elif not folder.name.startswith("."):
            yield from mend_job(Job(folder))
    if has_list(store.root):
        yield from _mend_list(store)


def _mend_list(store: JobStore) -> Iterator[Leftover]:
    """Put on the store's list what was closed and could not be put there then."""
    on_list = last_on(store.root)
    for job in store.jobs():
        try:
            check = verify(job.log_path, thorough=False)
            last = on_list.get((id_of(job.log_path), LOG_NAME))
            if check.state is not State.WHOLE or (last and last.sha256 == check.sha256):
                continue
            put_on_list(store.root, job.log_path, [(LOG_NAME, check.lines - 1, check.sha256)])
        except MeterlinkError as fault:
            yield Leftover(job.name, f"it cannot be put on the store's list: {fault}", False)
        else:
            yield Leftover(job.name, "it was not on the store's list as it is; it is now", True)


def mend_job(job: Job) -> Iterator[Leftover]:
    """Mend one job's folder; yield what was found."""
    try:
        if not is_regular(job.log_path):
            yield _begin_log(job)
        before = check_job(job)
        if before.state is State.WHOLE:
            return
        if before.parts[0].state is State.ALTERED:
            yield from _beyond(job, before)
            return
        _close(job)
        after = check_job(job)
    except InUseError:
        yield Leftover(job.name, "it is being worked on at this moment, and was left alone", True)
        return
    except MeterlinkError as fault:
        yield Leftover(job.name, f"it cannot be mended: {fault}", False)
        return
    for old, new in ((part, _same(after, part.file)) for part in before.parts):
        if old.state is not State.WHOLE and new is State.WHOLE:
            yield Leftover(job.name, f"{old.sentence}. It is closed and in the log now", True)
    yield from _beyond(job, after)


def _same(check: JobCheck, file: str) -> State:
    return next((part.state for part in check.parts if part.file == file), State.ALTERED)


def _beyond(job: Job, check: JobCheck) -> Iterator[Leftover]:
    """Yield what only a copy from elsewhere could mend."""
    for part in check.parts:
        if part.state is not State.WHOLE:
            yield Leftover(
                job.name,
                f"{part.sentence}. Only a copy from elsewhere could mend that; nothing was changed",
                False,
            )


def _close(job: Job) -> None:
    """Take up the job and close it: that closes its captures and brings them into the log."""
    known = {part.file for part in check_job(job).parts if "knows nothing" not in part.sentence}
    with JobWriter.resume(job) as writer:
        for path in job.attachments():
            if path.relative_to(job.folder).as_posix() not in known:
                register(writer, path, note="it was in the folder, and not in the log")


def _begin_log(job: Job) -> Leftover:
    """Give a folder without a log one: the draft that was not named yet, or one from its captures.

    Raises:
        UnreadableError: there is nothing that a log could be made from.
    """
    for draft in sorted(job.folder.glob(f".{LOG_NAME}.*")):
        if _is_begun(draft):
            try:
                draft.rename(job.log_path)
            except OSError as fault:
                raise CannotWriteError(
                    f"{plain(str(draft))} cannot be renamed: {fault.strerror}"
                ) from fault
            return Leftover(job.name, "its log was begun and not yet named; it is named now", True)
    header = _first_header(job)
    settings = {k: v for k, v in header.settings.items() if k in {"card", "profile", "simulated"}}
    began = _when(header)
    begin_file(job.log_path, first_line(header.title or job.name, settings, lambda: began))
    return Leftover(job.name, "it had no log; one was made from its captures", True)


def _is_begun(draft: Path) -> bool:
    try:
        data = draft.read_bytes()
        header = decode(data)
    except (OSError, RecordError):
        return False
    return data.endswith(b"\n") and isinstance(header, Header) and header.format == LOG_FORMAT


def _first_header(job: Job) -> Header:
    for path in job.captures():
        try:
            with read_capture(path) as capture:
                return capture.header
        except UnreadableError:
            continue
    raise UnreadableError(
        f"it has no log, and no capture in {CAPTURES_FOLDER} from which one could be made; "
        "it is no job, and may be moved elsewhere"
    )


def _when(header: Header) -> datetime:
    try:
        return read_rfc3339(header.started) + timedelta(0)
    except UnreadableError:
        return local_now()


def _mend_left_over(store: JobStore, folder: Path) -> Leftover:
    """Take in a job that was begun and not yet named; set aside what is none."""
    try:
        if _is_begun(folder / LOG_NAME):
            with_day = Job(folder).header()
            name = f"{_when(with_day):%Y-%m-%d}-begun"
            taken = store.adopt(folder, name)
            _close(Job(taken))
            return Leftover(taken.name, "it was begun and not yet named; it is a job now", True)
        aside = store.root / SET_ASIDE
        aside.mkdir(exist_ok=True)
        folder.rename(aside / folder.name.lstrip("."))
    except (OSError, MeterlinkError) as fault:
        return Leftover(folder.name, f"it cannot be set aside: {fault}", False)
    return Leftover(folder.name, f"it was left half made; it lies in {SET_ASIDE} now", True)
