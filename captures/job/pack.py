"""A job as one file to hand over, and back into a folder of the store."""

import re
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

PACK_ENDING: Final = ".job.zip"

JOB_PACK: Final = PackKind(
    format="meterlink-job-pack",
    # A number before the name keeps it from being a device's name, a dot file or a parent.
    allowed=re.compile(
        rf"{re.escape(LOG_NAME)}|report(?:-[a-z]+)?\.html"
        rf"|(?:{CAPTURES_FOLDER}|{ATTACHMENTS_FOLDER})/\d{{4,6}}-[^/\\:*?\"<>|\x00-\x1f]{{1,120}}"
    ),
    needs=LOG_NAME,
    thing="job",
)


def pack(job: Job, target: Path) -> Manifest:
    """Write the job's log, captures, attachments and reports into the new file ``target``.

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


def _files_of(job: Job) -> Iterator[Path]:
    yield job.log_path
    yield from job.captures()
    yield from job.attachments()
    yield from sorted(job.folder.glob("report*.html"))


def _folder_name(name: str) -> str:
    day, rest = name[:11], name[11:]
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}-", day, re.ASCII):
        return day + safe_name(rest, "job")
    return "job-" + safe_name(name, "job")
