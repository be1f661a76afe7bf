"""A job as one file to hand over, and back into a folder: a zip archive with a manifest.

What comes from elsewhere is not trusted. Only the files that a job consists of are taken out,
each under a name that this program could have given it, never through a link, never more bytes
than the manifest says or the limit allows; and a job is there whole or not at all.
"""

import hashlib
import os
import re
import shutil
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Final

import msgspec

from captures.job import ATTACHMENTS_FOLDER, CAPTURES_FOLDER, LOG_NAME, Job
from captures.names import safe_name
from captures.reader import open_regular
from captures.store import JobStore
from captures.times import local_now, rfc3339
from captures.writer import PROGRAM
from meterlink.errors import CannotWriteError, FaultFoundError, UnreadableError
from meterlink.text import plain

PACK_FORMAT: Final = "meterlink-job-pack"
PACK_ENDING: Final = ".job.zip"
MANIFEST: Final = "manifest.json"
LARGEST: Final = 2 << 30
"""Bytes that a job may take up when unpacked, unless the user allows more."""

_MOST_FILES: Final = 10_000
_LARGEST_MANIFEST: Final = 8 << 20
_PIECE: Final = 1 << 20

_ALLOWED: Final = re.compile(
    rf"{re.escape(LOG_NAME)}|report(?:-[a-z]+)?\.html"
    rf"|(?:{CAPTURES_FOLDER}|{ATTACHMENTS_FOLDER})/\d{{4,6}}-[^/\\:*?\"<>|\x00-\x1f]{{1,120}}"
)
"""A number before the name keeps it from being a device's name, a dot file or a parent."""


class PackedFile(msgspec.Struct, frozen=True, kw_only=True):
    """One file in a manifest."""

    path: str
    """Inside the job's folder, with forward slashes."""
    bytes: int
    sha256: str


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What a pack holds."""

    format: str
    version: str
    job: str
    """Name of the job's folder."""
    packed: str
    """RFC 3339."""
    program: str
    files: tuple[PackedFile, ...]


def pack(job: Job, target: Path) -> Manifest:
    """Write the job's log, captures, attachments and reports into the new file ``target``.

    Raises:
        CannotWriteError: ``target`` exists, or cannot be written; nothing of it is left.
        UnreadableError: a file of the job cannot be read.
    """
    try:
        with target.open("xb") as file:
            try:
                return _write_pack(job, file)
            except BaseException:
                file.close()
                target.unlink(missing_ok=True)
                raise
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(target))} cannot be written: {fault.strerror}"
        ) from fault


def unpack(pack_file: Path, store: JobStore, *, largest: int = LARGEST) -> Job:
    """Take the job in ``pack_file`` into ``store`` under its own name, or one like it.

    Raises:
        UnreadableError: it is no pack, is damaged, or holds what no pack of ours holds.
        FaultFoundError: a file in it is not the one that the manifest names.
        CannotWriteError: it cannot be written; nothing of it is left.
    """
    name = plain(str(pack_file))
    try:
        with open_regular(pack_file) as file, zipfile.ZipFile(file) as archive:
            manifest = _read_manifest(name, archive)
            entries = _checked_entries(name, archive, manifest, largest)
            return _take_out(name, archive, entries, manifest, store)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as fault:
        raise UnreadableError(f"{name} is no pack, or is damaged") from fault
    except (ValueError, RuntimeError, LookupError, OverflowError) as fault:
        # What zipfile itself raises for headers that contradict each other.
        raise UnreadableError(f"{name} is no pack, or is damaged") from fault


def _write_pack(job: Job, file: IO[bytes]) -> Manifest:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        packed = [
            _put_in(archive, path, path.relative_to(job.folder).as_posix())
            for path in _files_of(job)
        ]
        manifest = Manifest(
            format=PACK_FORMAT,
            version="1.0",
            job=job.name,
            packed=rfc3339(local_now()),
            program=PROGRAM,
            files=tuple(packed),
        )
        archive.writestr(MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=1))
    return manifest


def _files_of(job: Job) -> Iterator[Path]:
    yield job.log_path
    yield from job.captures()
    yield from job.attachments()
    yield from sorted(job.folder.glob("report*.html"))


def _put_in(archive: zipfile.ZipFile, path: Path, name: str) -> PackedFile:
    if path.is_symlink() or not _ALLOWED.fullmatch(name):
        raise UnreadableError(f"{plain(str(path))} is no file that a job has; move it elsewhere")
    digest, length = hashlib.sha256(), 0
    with open_regular(path) as source:
        info = zipfile.ZipInfo.from_file(path, name, strict_timestamps=False)
        info.compress_type = zipfile.ZIP_DEFLATED
        with archive.open(info, "w", force_zip64=True) as target:
            while piece := source.read(_PIECE):
                digest.update(piece)
                length += len(piece)
                target.write(piece)
    return PackedFile(path=name, bytes=length, sha256=digest.hexdigest())


def _read_manifest(name: str, archive: zipfile.ZipFile) -> Manifest:
    with archive.open(MANIFEST) as file:
        text = file.read(_LARGEST_MANIFEST + 1)
    try:
        manifest = msgspec.json.decode(text, type=Manifest)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        raise UnreadableError(f"{name} has a manifest that cannot be read") from fault
    if manifest.format != PACK_FORMAT or manifest.version.partition(".")[0] != "1":
        raise UnreadableError(f"{name} is no pack that this program can read; update meterlink")
    return manifest


def _checked_entries(
    name: str, archive: zipfile.ZipFile, manifest: Manifest, largest: int
) -> list[tuple[zipfile.ZipInfo, PackedFile]]:
    """Return each file to take out with what is promised of it, or refuse the whole."""
    infos = {info.filename: info for info in archive.infolist()}
    paths = [file.path for file in manifest.files]
    if len(archive.infolist()) > _MOST_FILES or len({p.casefold() for p in paths}) != len(paths):
        raise UnreadableError(f"{name} holds too many files, or one of them twice")
    if infos.keys() != {MANIFEST, *paths} or LOG_NAME not in paths:
        raise UnreadableError(f"{name} does not hold just what its manifest says")
    for path in paths:
        if not _ALLOWED.fullmatch(path) or path.endswith((".", " ")) or plain(path) != path:
            raise UnreadableError(f"{name} holds {plain(path)!r}, which no job has")
        info = infos[path]
        kind = stat.S_IFMT(info.external_attr >> 16)
        odd = info.flag_bits & 0x1 or kind not in (0, stat.S_IFREG)
        if odd or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise UnreadableError(f"{name} holds {path!r} as a link, encrypted, or in an odd form")
    total = sum(file.bytes for file in manifest.files)
    if total > largest or any(file.bytes < 0 for file in manifest.files):
        raise UnreadableError(
            f"{name} would take up {total} bytes; more than {largest} are not taken unasked"
        )
    return [(infos[file.path], file) for file in manifest.files]


def _take_out(
    name: str,
    archive: zipfile.ZipFile,
    entries: list[tuple[zipfile.ZipInfo, PackedFile]],
    manifest: Manifest,
    store: JobStore,
) -> Job:
    """Fill a folder beside the jobs and give it its name when all of it is there."""
    try:
        store.root.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix=".unpacking-", dir=store.root))
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(store.root))} cannot be written: {fault.strerror}"
        ) from fault
    try:
        for info, promised in entries:
            _take_file(name, archive, info, promised, folder)
        folder.chmod(0o755)
        return Job(store.adopt(folder, _folder_name(manifest.job)))
    except OSError as fault:
        raise CannotWriteError(f"{name} cannot be unpacked: {fault.strerror}") from fault
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _take_file(
    name: str, archive: zipfile.ZipFile, info: zipfile.ZipInfo, promised: PackedFile, folder: Path
) -> None:
    path = folder.joinpath(*promised.path.split("/"))
    path.parent.mkdir(exist_ok=True)
    digest, length = hashlib.sha256(), 0
    with archive.open(info) as source, path.open("xb") as target:
        while piece := source.read(min(_PIECE, promised.bytes - length + 1)):
            length += len(piece)
            if length > promised.bytes:
                break
            digest.update(piece)
            target.write(piece)
        target.flush()
        os.fsync(target.fileno())
    if length != promised.bytes or digest.hexdigest() != promised.sha256:
        raise FaultFoundError(
            f"{name}: {promised.path} is not the file that was packed; nothing was unpacked"
        )


def _folder_name(name: str) -> str:
    day, rest = name[:11], name[11:]
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}-", day, re.ASCII):
        return day + safe_name(rest, "job")
    return "job-" + safe_name(name, "job")
