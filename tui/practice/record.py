"""The record of a practice: a job like any other, for an instructor to look at and replay."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from meterlink.card import BenchEvent
from meterlink.reading import Reading
from tui.practice.bench import PracticeBench
from tui.session.setup import header_for, job_store, settings_of


@contextmanager
def recording(bench: PracticeBench, folder: str) -> Iterator[Path]:
    """Keep all that ``bench`` reads and says as a job in ``folder``; yield the job's own.

    Raises:
        CannotWriteError: it cannot be made.
    """
    card, profile = bench.bench.card, bench.bench.profile
    settings = settings_of(card, profile) | {"practice": True}
    header = header_for(
        card,
        profile,
        bench.identity,
        accuracy=bench.bench.accuracy,
        past=bench.past,
        settings={"practice": True},
    )
    with (
        job_store(folder).create("Practice", settings=settings) as job,
        job.new_capture(header) as capture,
    ):

        def keep(what: Reading | BenchEvent) -> None:
            capture.append(what)
            if not isinstance(what, Reading):
                job.log.append(what)

        bench.keep = keep
        yield job.folder
