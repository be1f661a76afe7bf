"""Jobs into a data set: those that are new, or hold more than they did."""

import itertools
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from captures.archive.dataset import BatchWriter, DataSet, SiteMonth, adding
from captures.archive.job_rows import Month, final_seal, rows_of, table_of
from captures.archive.log_rows import LogRow
from captures.job.job import Job
from captures.job.store import JobStore
from captures.record.files import safe_name
from meterlink.errors import UnreadableError

if TYPE_CHECKING:
    import pyarrow

UNNAMED: Final = "unnamed"
"""The site of benches that nobody gave a name."""

_AT_ONCE: Final = 32
"""Jobs that a worker reads in one go."""

_WORTH_WORKERS: Final = 200
"""So many jobs take longer to read than processes take to start."""


class Brought(NamedTuple):
    """One job that was brought in."""

    job: str
    record: str
    """State of its record: ``whole``, ``open``, ``cut``, ``altered``, ``unreadable``."""
    why: str


class _Read(NamedTuple):
    """Some jobs, read: their rows by month, and a line about each."""

    months: "dict[Month, dict[str, pyarrow.Table]]"
    brought: list[Brought]


class _Known(NamedTuple):
    """What a data set holds already."""

    seals: frozenset[str]
    """Final seals of jobs that were brought in whole."""
    contents: frozenset[tuple[str, str]]
    """Each job with what it held."""


class _Task(NamedTuple):
    """What a worker needs to know beside the jobs."""

    batch: str
    known: _Known
    readings: bool


def archive_jobs(
    store: JobStore,
    data: DataSet,
    *,
    site: str = "",
    readings: bool = True,
    workers: int = 2,
    tell: Callable[[Brought], None] = lambda _brought: None,
) -> int:
    """Bring the jobs of ``store`` into ``data`` and return how many were new or had changed.

    ``site`` is where the benches stand. A job whose log still ends in the same final seal is not
    even read. ``readings``: bring those in too, which are most of the rows.

    Raises:
        UnreadableError: the folder of jobs, or the data set, cannot be read.
        InUseError: another run works on the data set.
        CannotWriteError: it cannot be written; nothing of this run is left.
    """
    place = safe_name(site, UNNAMED)
    count = 0
    with adding(data) as writer:
        known = _known(data)
        jobs = [job.folder for job in store.jobs() if not _is_known(job, known)]
        jobs.reverse()  # by day, so that few months are written at the same time
        task = _Task(writer.batch, known, readings)
        for read in _read_all(jobs, task, workers):
            _write(writer, place, read)
            for brought in read.brought:
                tell(brought)
            count += len(read.brought)
    return count


def _known(data: DataSet) -> _Known:
    rows = data.table("jobs").to_table(columns=["record_id", "record", "seal", "content"])
    listed = rows.to_pylist()
    return _Known(
        frozenset(row["seal"] for row in listed if row["record"] == "whole"),
        frozenset((row["record_id"], row["content"]) for row in listed),
    )


def _is_known(job: Job, known: _Known) -> bool:
    try:
        return bool(known.seals) and final_seal(job) in known.seals
    except UnreadableError:
        return False


def _read_all(folders: list[Path], task: _Task, workers: int) -> Iterator[_Read]:
    """Read jobs some at a time, in their order; by several processes where there are many."""
    chunks = [folders[i : i + _AT_ONCE] for i in range(0, len(folders), _AT_ONCE)]
    if workers < 2 or len(folders) < _WORTH_WORKERS:
        for chunk in chunks:
            yield _read(chunk, task)
        return
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        waiting: list[Future[_Read]] = []
        left = iter(chunks)
        try:
            while True:
                # No more are read ahead than the workers need, so that memory stays bounded.
                room = itertools.islice(left, 2 * workers - len(waiting))
                waiting += [pool.submit(_read, chunk, task) for chunk in room]
                if not waiting:
                    return
                yield waiting.pop(0).result()
        finally:
            pool.shutdown(cancel_futures=True)


def _read(folders: list[Path], task: _Task) -> _Read:
    import pyarrow

    months: dict[Month, dict[str, list[LogRow]]] = {}
    readings: dict[Month, list[pyarrow.Table]] = {}
    brought = []
    for folder in folders:
        read = rows_of(Job(folder), task.batch, readings=task.readings)
        if (read.record_id, read.content) in task.known.contents:
            continue
        brought.append(Brought(folder.name, read.state.record, read.state.why))
        for name, rows in read.rows.items():
            months.setdefault(read.month, {}).setdefault(name, []).extend(rows)
        readings.setdefault(read.month, []).extend(read.readings)
    tables = {
        month: {name: table_of(name, rows) for name, rows in by_name.items()}
        for month, by_name in months.items()
    }
    for when, parts in readings.items():
        if parts:
            tables[when]["readings"] = pyarrow.concat_tables(parts)
    return _Read(tables, brought)


def _write(writer: BatchWriter, site: str, read: _Read) -> None:
    for (year, month), tables in read.months.items():
        writer.add(SiteMonth(site, year, month), tables)
