"""The folder that all jobs lie in."""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from captures.job.job import LOG_NAME, Job, JobWriter
from captures.job.joblog import JobLog, WallClock
from captures.job.names import safe_name
from captures.record.append_file import OnTrouble
from captures.record.reader import is_regular
from captures.record.times import local_now
from meterlink.errors import CannotWriteError, UnreadableError
from meterlink.quantities.text import plain


def default_root() -> Path:
    """Return where jobs lie unless the user says otherwise: the user's own data folder."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "jobs"


class JobStore:
    """All jobs under one folder, which is made when the first job is."""

    def __init__(self, root: Path | None = None) -> None:
        self.root = root if root is not None else default_root()

    def create(
        self,
        title: str,
        *,
        settings: dict[str, object] | None = None,
        clock: WallClock = local_now,
        on_trouble: OnTrouble | None = None,
    ) -> JobWriter:
        """Make a job's folder, named by the day and ``title``, and begin its log.

        Raises:
            CannotWriteError: the folder cannot be made or written.
        """
        job = Job(self._make_folder(f"{clock():%Y-%m-%d}-{safe_name(title, 'job')}"))
        try:
            log = JobLog.create(job.log_path, title, settings or {}, clock, on_trouble)
        except CannotWriteError:
            with contextlib.suppress(OSError):
                job.folder.rmdir()
            raise
        return JobWriter(job, log, on_trouble)

    def resume(
        self, name: str, *, clock: WallClock = local_now, on_trouble: OnTrouble | None = None
    ) -> JobWriter:
        """Go on with a job.

        Raises:
            InUseError: another program works on it.
            UnreadableError: there is none of that name, or its log cannot be read.
        """
        return JobWriter.resume(self.job(name), clock=clock, on_trouble=on_trouble)

    def jobs(self) -> Iterator[Job]:
        """Yield every job, newest day first.

        Raises:
            UnreadableError: the folder exists and cannot be read.
        """
        if not self.root.exists():
            return
        try:
            names = sorted(
                (p.name for p in self.root.iterdir() if not p.name.startswith(".")), reverse=True
            )
        except OSError as fault:
            raise UnreadableError(
                f"{plain(str(self.root))} cannot be read: {fault.strerror}"
            ) from fault
        for name in names:
            job = Job(self.root / name)
            if is_regular(job.log_path):
                yield job

    def job(self, name: str) -> Job:
        """Return the job whose folder is called ``name``, or whose path that is.

        Raises:
            UnreadableError: there is none.
        """
        for folder in (self.root / name, Path(name)):
            if is_regular(folder / LOG_NAME):
                return Job(folder)
        raise UnreadableError(
            f"there is no job {plain(name)!r} in {plain(str(self.root))}; "
            "`meterlink jobs` lists those that are"
        )

    def adopt(self, folder: Path, name: str) -> Path:
        """Give a finished folder of this store the name ``name``, or the next one that is free."""
        for number in _NUMBERS:
            path = self.root / _numbered(name, number)
            # Renaming may replace an empty folder on some systems, so look first.
            if not path.exists():
                return folder.rename(path)
        raise _too_many(name)

    def _make_folder(self, name: str) -> Path:
        try:
            self.root.mkdir(parents=True, exist_ok=True)
            for number in _NUMBERS:
                folder = self.root / _numbered(name, number)
                try:
                    folder.mkdir()
                except FileExistsError:
                    continue
                return folder
        except OSError as fault:
            raise CannotWriteError(
                f"no job can be made in {plain(str(self.root))}: {fault.strerror}; "
                "choose another folder with --jobs"
            ) from fault
        raise _too_many(name)


_NUMBERS: Final = range(1, 10_000)


def _numbered(name: str, number: int) -> str:
    return name if number == 1 else f"{name}-{number}"


def _too_many(name: str) -> CannotWriteError:
    return CannotWriteError(f"{plain(name)} exists ten thousand times; choose another title")
