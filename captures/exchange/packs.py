"""A job, or a folder of exercises, as one file to hand over: a zip archive with a manifest.

What comes from elsewhere is not trusted. Only the files that such a pack consists of are taken
out, each under a name that this program could have given it, never through a link, never more
bytes than the manifest says or the limit allows; and a folder is there whole or not at all.
"""

import hashlib
import os
import re
import secrets
import shutil
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO, Final, NamedTuple

import msgspec

from captures.job.job import ATTACHMENTS_FOLDER, CAPTURES_FOLDER, LOG_NAME, Job
from captures.job.store import JobStore
from captures.record.files import is_regular, local_now, open_regular, rfc3339, safe_name
from captures.record.records import PROGRAM
from meterlink.errors import CannotWriteError, FaultFoundError, UnreadableError
from meterlink.quantities.text import plain

MANIFEST: Final = "manifest.json"
LARGEST: Final = 2 << 30
"""Bytes that a pack may take up when unpacked, unless the user allows more."""

_MOST_FILES: Final = 10_000
_LARGEST_MANIFEST: Final = 8 << 20
_PIECE: Final = 1 << 20


class PackKind(NamedTuple):
    """What packs of one kind may hold."""

    format: str
    allowed: re.Pattern[str]
    """What the whole path of a file inside must match: nothing that could name a device, a dot
    file or a parent folder."""
    needs: str
    """The file without which it is no such pack."""
    thing: str
    """What is packed, in sentences: ``job`` ..."""
    left_in: re.Pattern[str] = re.compile("(?!)")
    """What is never taken out, though older packs hold it."""


class PackedFile(msgspec.Struct, frozen=True, kw_only=True):
    """One file in a manifest."""

    path: str
    """Inside the packed folder, with forward slashes."""
    bytes: int
    sha256: str


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What a pack holds."""

    format: str
    version: str
    name: str
    """Name of the folder that was packed."""
    packed: str
    """RFC 3339."""
    program: str
    files: tuple[PackedFile, ...]


Adopt = Callable[[Path, str], Path]
"""Gives a filled folder its place, for a pack of the given name, and returns that place."""


def pack_files(
    kind: PackKind, name: str, files: Iterable[tuple[Path, str]], target: Path
) -> Manifest:
    """Write ``files``, each with its path inside, into the new file ``target``.

    Raises:
        CannotWriteError: ``target`` exists, or cannot be written; nothing of it is left.
        UnreadableError: a file cannot be read, or is none that such a pack has.
    """
    try:
        file = target.open("xb")
        try:
            with file:
                return _write_pack(kind, name, files, file)
        except BaseException:
            target.unlink(missing_ok=True)
            raise
    except FileExistsError as fault:
        raise CannotWriteError(f"{plain(str(target))} exists; choose another name") from fault
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(target))} cannot be written: {fault.strerror}"
        ) from fault


def unpack_files(
    kind: PackKind, pack_file: Path, root: Path, adopt: Adopt, *, largest: int = LARGEST
) -> Path:
    """Take what is in ``pack_file`` into a folder in ``root``, and return it as adopted.

    Raises:
        UnreadableError: it is no such pack, is damaged, or holds what none of ours holds.
        FaultFoundError: a file in it is not the one that the manifest names.
        CannotWriteError: it cannot be written; nothing of it is left.
    """
    name = plain(str(pack_file))
    try:
        with open_regular(pack_file) as file, zipfile.ZipFile(file) as archive:
            manifest = _read_manifest(kind, name, archive)
            entries = _checked_entries(kind, name, archive, manifest, largest)
            wanted = [entry for entry in entries if not kind.left_in.fullmatch(entry[1].path)]
            return _take_out(name, archive, wanted, root, lambda f: adopt(f, manifest.name))
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError) as fault:
        raise UnreadableError(f"{name} is no pack, or is damaged") from fault
    except (ValueError, RuntimeError, LookupError, OverflowError) as fault:
        # What zipfile itself raises for headers that contradict each other.
        raise UnreadableError(f"{name} is no pack, or is damaged") from fault


def _write_pack(
    kind: PackKind, name: str, files: Iterable[tuple[Path, str]], file: IO[bytes]
) -> Manifest:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        packed = [_put_in(kind, archive, path, inside) for path, inside in files]
        manifest = Manifest(
            format=kind.format,
            version="1.0",
            name=plain(name),
            packed=rfc3339(local_now()),
            program=PROGRAM,
            files=tuple(packed),
        )
        archive.writestr(MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=1))
    return manifest


def _put_in(kind: PackKind, archive: zipfile.ZipFile, path: Path, name: str) -> PackedFile:
    if path.is_symlink() or not kind.allowed.fullmatch(name):
        raise UnreadableError(
            f"{plain(str(path))} is no file that a {kind.thing} has; move it elsewhere"
        )
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


def _read_manifest(kind: PackKind, name: str, archive: zipfile.ZipFile) -> Manifest:
    with archive.open(MANIFEST) as file:
        text = file.read(_LARGEST_MANIFEST + 1)
    try:
        manifest = msgspec.json.decode(text, type=Manifest)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        raise UnreadableError(f"{name} has a manifest that cannot be read") from fault
    if manifest.format != kind.format or manifest.version.partition(".")[0] != "1":
        raise UnreadableError(f"{name} is no pack that this program can read; update meterlink")
    return manifest


def _checked_entries(
    kind: PackKind, name: str, archive: zipfile.ZipFile, manifest: Manifest, largest: int
) -> list[tuple[zipfile.ZipInfo, PackedFile]]:
    """Return each file to take out with what is promised of it, or refuse the whole."""
    infos = {info.filename: info for info in archive.infolist()}
    paths = [file.path for file in manifest.files]
    entries = [info.filename.casefold() for info in archive.infolist()]
    twice = len(set(entries)) != len(entries) or len({p.casefold() for p in paths}) != len(paths)
    if len(entries) > _MOST_FILES or twice:
        raise UnreadableError(f"{name} holds too many files, or one of them twice")
    if infos.keys() != {MANIFEST, *paths} or kind.needs not in paths:
        raise UnreadableError(f"{name} does not hold just what its manifest says")
    for path in paths:
        if not kind.allowed.fullmatch(path) or path.endswith((".", " ")) or plain(path) != path:
            raise UnreadableError(f"{name} holds {plain(path)!r}, which no {kind.thing} has")
        info = infos[path]
        file_type = stat.S_IFMT(info.external_attr >> 16)
        odd = info.flag_bits & 0x1 or file_type not in (0, stat.S_IFREG)
        if odd or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise UnreadableError(f"{name} holds {path!r} as a link, encrypted, or in an odd form")
    if any(file.bytes < 0 for file in manifest.files):
        raise UnreadableError(f"{name} has a manifest that makes no sense: a file of minus length")
    total = sum(file.bytes for file in manifest.files)
    if total > largest:
        raise UnreadableError(
            f"{name} would take up {total} bytes; more than {largest} are not taken unasked"
        )
    return [(infos[file.path], file) for file in manifest.files]


def _take_out(
    name: str,
    archive: zipfile.ZipFile,
    entries: list[tuple[zipfile.ZipInfo, PackedFile]],
    root: Path,
    adopt: Callable[[Path], Path],
) -> Path:
    """Fill a folder in ``root`` and give it its name when all of it is there."""
    try:
        root.mkdir(parents=True, exist_ok=True)
        folder = root / f".unpacking-{secrets.token_hex(8)}"
        folder.mkdir()  # with the rights that the user gives new folders
    except OSError as fault:
        raise CannotWriteError(f"{plain(str(root))} cannot be written: {fault.strerror}") from fault
    try:
        for info, promised in entries:
            _take_file(name, archive, info, promised, folder)
        return adopt(folder)
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
