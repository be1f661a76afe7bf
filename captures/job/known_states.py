"""What a check of each job found last, kept for as long as the job's files are as they were then.

A list of ten thousand jobs says of each whether its record is whole, and must be quick: a job whose
files have the sizes and times that they had is not read again. What changes bytes and neither size
nor time, as a failing disk may, is found by “verify”, which always reads all of it.
"""

import contextlib
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import msgspec

from captures.job.job import ATTACHMENTS_FOLDER, CAPTURES_FOLDER, Job
from captures.job.verify_job import check_job, last_seals
from captures.record.files import as_utf8, is_regular, open_regular
from captures.record.verify import State
from meterlink.closing import Closing
from meterlink.errors import UnreadableError

_LARGEST: Final = 64 << 20


class _Known(msgspec.Struct, array_like=True, gc=False):
    stamp: str
    """Of the sizes and times of all files."""
    state: State


class _File(msgspec.Struct):
    """The file that it is kept in; of another version it is begun again."""

    version: int
    jobs: dict[str, _Known]


_VERSION: Final = 1


class KnownStates(Closing):
    """The states of the jobs of one store. Use it in ``with``, or close it, so that it is kept."""

    def __init__(self, root: Path, folder: Path | None = None) -> None:
        """Take up what is known of the store in ``root``, from ``folder`` or the user's cache."""
        import platformdirs

        if folder is None:
            folder = platformdirs.user_cache_path("meterlink", appauthor=False) / "states"
        name = hashlib.sha256(os.fsencode(root.absolute())).hexdigest()[:16]
        self._path = folder / f"{name}.json"
        self._known = _read(self._path)
        self._changed = False
        self._last = last_seals(root)

    def state_of(self, job: Job) -> State:
        """Return the state of a job's record: as known, else by a check of all its files.

        Raises:
            UnreadableError: the log cannot be read.
        """
        stamp, name = _stamp(job), as_utf8(job.name)
        known = self._known.get(name)
        if known is None or known.stamp != stamp:
            known = _Known(stamp, check_job(job, last=self._last).state)
            self._known[name] = known
            self._changed = True
        return known.state

    def close(self) -> None:
        """Keep what is known; not worth failing for. Safe to call twice."""
        if not self._changed:
            return
        self._changed = False
        draft = self._path.with_name(f".{self._path.name}.{os.getpid()}")
        with contextlib.suppress(OSError):
            self._path.parent.mkdir(parents=True, exist_ok=True)
            draft.write_bytes(msgspec.json.encode(_File(_VERSION, self._known)))
            draft.replace(self._path)


def _read(path: Path) -> dict[str, _Known]:
    if not is_regular(path):
        return {}
    try:
        with open_regular(path) as file:
            found = msgspec.json.decode(file.read(_LARGEST), type=_File)
    except (OSError, UnreadableError, msgspec.DecodeError, UnicodeDecodeError):
        return {}  # it is made again
    return found.jobs if found.version == _VERSION else {}


def _stamp(job: Job) -> str:
    """Return a hash of the names, sizes and times of a job's files."""
    return hashlib.sha256("\n".join(_stamps(job)).encode("utf-8", "replace")).hexdigest()[:24]


def _stamps(job: Job) -> Iterator[str]:
    with contextlib.suppress(OSError):
        log = job.log_path.stat()
        yield f"{log.st_size} {log.st_mtime_ns}"
    for name in (CAPTURES_FOLDER, ATTACHMENTS_FOLDER):
        with contextlib.suppress(OSError), os.scandir(job.folder / name) as entries:
            for entry in sorted(entries, key=lambda entry: entry.name):
                file = entry.stat(follow_symlinks=False)
                yield f"{entry.name} {file.st_size} {file.st_mtime_ns}"
