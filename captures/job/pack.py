"""A job as one file to hand over, and back into a folder of the store."""

import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from captures.exchange.zip_files import LARGEST as LARGEST
from captures.exchange.zip_files import MANIFEST as MANIFEST
from captures.exchange.zip_files import Manifest as Manifest
from captures.exchange.zip_files import PackKind, pack_files, unpack_files
from captures.job.job import ATTACHMENTS_FOLDER, CAPTURES_FOLDER, LOG_NAME, Job
from captures.job.names import safe_name
from captures.job.store import JobStore
from captures.record.reader import is_regular, open_regular
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain

PACK_ENDING: Final = ".job.zip"

_REPORT: Final = re.compile(r"report(?:-[a-z]+)?\.html")
"""A report is made from the record, by whoever reads it: one that came with it could say, and do,
anything."""

JOB_PACK: Final = PackKind(
    format="meterlink-job-pack",
    # A number before the name keeps it from being a device's name, a dot file or a parent.
    allowed=re.compile(
        rf"{re.escape(LOG_NAME)}(?:\.tst)?|{_REPORT.pattern}"
        rf"|(?:{CAPTURES_FOLDER}|{ATTACHMENTS_FOLDER})/\d{{4,6}}-[^/\\:*?\"<>|\x00-\x1f]{{1,120}}"
    ),
    needs=LOG_NAME,
    thing="job",
    left_in=_REPORT,
)


def pack(job: Job, target: Path) -> Manifest:
    """Write the job's log, captures and attachments into the new file ``target``.

    Its reports stay behind; whoever unpacks it makes them again.

    Raises:
        CannotWriteError: ``target`` exists, or cannot be written; nothing of it is left.
        UnreadableError: a file of the job cannot be read.
    """
    files = ((path, path.relative_to(job.folder).as_posix()) for path in _files_of(job))
    return pack_files(JOB_PACK, job.name, files, target)


def unpack(pack_file: Path, store: JobStore, *, largest: int = LARGEST) -> Job:
    """Take the job in ``pack_file`` into ``store`` under its own name, or one like it.

    Raises:
        UnreadableError: it is no pack, is damaged, or holds what no pack of ours holds.
        FaultFoundError: a file in it is not the one that the manifest names.
        CannotWriteError: it cannot be written; nothing of it is left.
    """
    folder = unpack_files(
        JOB_PACK,
        pack_file,
        store.root,
        lambda filled, name: store.adopt(filled, _folder_name(name)),
        largest=largest,
    )
    return Job(folder)


def reports_in(pack_file: Path) -> list[str]:
    """Return the names of the reports that a pack holds, which ``unpack`` does not take out.

    Raises:
        UnreadableError: it is no pack.
    """
    try:
        with open_regular(pack_file) as file, zipfile.ZipFile(file) as archive:
            return sorted(name for name in archive.namelist() if _REPORT.fullmatch(name))
    except (zipfile.BadZipFile, OSError, ValueError, EOFError, NotImplementedError) as fault:
        raise UnreadableError(f"{plain(str(pack_file))} is no pack, or is damaged") from fault


def _files_of(job: Job) -> Iterator[Path]:
    for path in (job.log_path, *job.captures()):
        yield path
        stamp = path.with_name(f"{path.name}.tst")
        if is_regular(stamp):
            yield stamp
    yield from job.attachments()


def _folder_name(name: str) -> str:
    day, rest = name[:11], name[11:]
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}-", day, re.ASCII):
        return day + safe_name(rest, "job")
    return "job-" + safe_name(name, "job")
