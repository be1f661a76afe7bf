"""The folder that all jobs lie in."""

import secrets
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from captures.job.job import LOG_NAME, Job, JobWriter
from captures.job.joblog import JobLog, WallClock, first_line
from captures.job.names import safe_name
from captures.record.append_file import OnTrouble, begin_file
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

    def __init__(
        self, root: Path | None = None, *, opened: Callable[[JobWriter], None] | None = None
    ) -> None:
        """``opened`` is told of every job that is begun or gone on with."""
        self.root = root if root is not None else default_root()
        self._opened = opened or (lambda _job: None)

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
        name = f"{clock():%Y-%m-%d}-{safe_name(title, 'job')}"
        line = first_line(title, settings or {}, clock)
        job = Job(self._make_folder(name, line))
        log = JobLog.take_up(job.log_path, line, clock, on_trouble)
        return self._told(JobWriter(job, log, on_trouble))

    def resume(
        self, name: str, *, clock: WallClock = local_now, on_trouble: OnTrouble | None = None
    ) -> JobWriter:
        """Go on with a job.

        Raises:
            InUseError: another program works on it.
            UnreadableError: there is none of that name, or its log cannot be read.
        """
        return self._told(JobWriter.resume(self.job(name), clock=clock, on_trouble=on_trouble))

    def _told(self, job: JobWriter) -> JobWriter:
        self._opened(job)
        return job

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

    def folder(self, name: str) -> Job:
        """Return the job whose folder is called ``name``, though it may have no log.

        Raises:
            UnreadableError: there is no such folder.
        """
        for folder in (self.root / name, Path(name)):
            if folder.is_dir():
                return Job(folder)
        return self.job(name)

    def adopt(self, folder: Path, name: str) -> Path:
        """Give a finished folder of this store the name ``name``, or the next one that is free."""
        for number in _NUMBERS:
            path = self.root / _numbered(name, number)
            # Renaming may replace an empty folder on some systems, so look first.
            if path.exists():
                continue
            try:
                return folder.rename(path)
            except OSError:
                if not path.exists():
                    raise  # else another program took the name just now
        raise _too_many(name)

    def _make_folder(self, name: str, line: bytes) -> Path:
        """Make a job's folder with its log begun in it: there whole, or not under its name."""
        draft = self.root / f"{BEGUN}{secrets.token_hex(8)}"
        try:
            self.root.mkdir(parents=True, exist_ok=True)
            draft.mkdir()
            try:
                begin_file(draft / LOG_NAME, line)
                return self.adopt(draft, name)
            except BaseException:
                shutil.rmtree(draft, ignore_errors=True)
                raise
        except OSError as fault:
            raise CannotWriteError(
                f"no job can be made in {plain(str(self.root))}: {fault.strerror}; "
                "choose another folder with --jobs"
            ) from fault


BEGUN: Final = ".begun-"
"""How the folder of a job is called before its log is begun in it."""

_NUMBERS: Final = range(1, 10_000)


def _numbered(name: str, number: int) -> str:
    return name if number == 1 else f"{name}-{number}"


def _too_many(name: str) -> CannotWriteError:
    return CannotWriteError(f"{plain(name)} exists ten thousand times; choose another title")
