"""What every file here needs: opened only where it is plain, begun whole, named, timed, locked."""

import contextlib
import errno
import os
import sys
import unicodedata
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Final

from meterlink.errors import CannotWriteError, UnreadableError
from meterlink.quantities.text import plain

_BUFFER: Final = 1 << 18
"""Bytes read ahead of a file that is read line by line."""


def is_regular(path: Path) -> bool:
    """Whether ``path`` is a plain file; any text at all may be asked about."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def open_regular(path: Path) -> BinaryIO:
    """Open a plain file for reading bytes; never a device or pipe that may not end.

    Raises:
        UnreadableError: it is missing, none, or may not be read.
    """
    name = plain(str(path))
    try:
        if path.exists() and not path.is_file():
            raise UnreadableError(f"{name} is no file that can be read")
        return path.open("rb", buffering=_BUFFER)
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or "no such name is possible"
        raise UnreadableError(f"{name} cannot be read: {why}") from fault


def ends_whole(path: Path) -> bool:
    """Return whether the last line of ``path`` was written to its end, so that one may follow.

    Raises:
        UnreadableError: missing, no file, or cannot be read.
    """
    with open_regular(path) as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - 1))
        return file.read(1) in {b"", b"\n"}


def begin_file(path: Path, first: bytes) -> None:
    """Make the new file ``path`` with the bytes ``first``: there whole and on the medium, or not.

    A program that is killed, or a power cut, leaves a file that can be continued or none.

    Raises:
        CannotWriteError: it exists already or cannot be made.
    """
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        if path.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST))
        with draft.open("wb") as file:
            file.write(first)
            file.flush()
            os.fsync(file.fileno())
        draft.rename(path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        raise CannotWriteError(f"{plain(str(path))} cannot be made: {fault.strerror}") from fault
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make a new file's name as safe as its bytes, where folders can be opened at all."""
    if sys.platform != "win32":
        try:
            fd = os.open(folder, os.O_RDONLY)
        except OSError:
            return
        try:
            os.fsync(fd)
        except OSError:
            pass
        finally:
            os.close(fd)


_LONGEST_BYTES: Final = 80
"""In UTF-8; leaves room for a date, a number and an ending on every file system."""

_LONGEST_SHOWN: Final = 4096
"""Characters; more than any system lets a path have."""

_KEPT: Final = frozenset({"Lu", "Ll", "Lt", "Lo", "Lm", "Mn", "Mc", "Nd"})


def safe_name(title: str, otherwise: str) -> str:
    """Return ``title`` as one part of a path: letters and digits of any script, and hyphens.

    Never empty, never a dot or a separator, never ends in a space or dot; a title with no
    letter or digit gives ``otherwise``. The caller puts a date or number before it, which
    also keeps it from being a device's name on Windows.
    """
    kept = [
        c if unicodedata.category(c) in _KEPT else "-"
        for c in unicodedata.normalize("NFC", title[:500]).lower()
    ]
    name = "-".join(part for part in "".join(kept).split("-") if part)
    name = name.encode("utf-8", "ignore")[:_LONGEST_BYTES].decode("utf-8", "ignore")
    return unicodedata.normalize("NFC", name).strip("-") or otherwise


def safe_ending(name: str) -> str:
    """Return the ending of a file's name, dot included, or nothing where it is no usual one."""
    stem, dot, ending = name.rpartition(".")
    if stem and dot and ending.isascii() and ending.isalnum() and len(ending) <= 8:
        return f".{ending.lower()}"
    return ""


def shown_path(path: Path) -> str:
    """Return a path as a line of text may show it: none of its characters steers a terminal."""
    return plain(str(path), _LONGEST_SHOWN)


def as_utf8(name: str) -> str:
    """Return a name that JSON can hold: what is no UTF-8 comes from the disk as surrogates."""
    return name.encode("utf-8", "replace").decode("utf-8")


_DECIMALS: Final = 6
"""Of a second: no clock that stamps readings here is finer than a microsecond."""


def to_the_clock(t: float) -> float:
    """Return ``t``, in seconds, to the resolution of the clock: 0.11, not 0.10999999999999999."""
    return round(t, _DECIMALS)


def local_now() -> datetime:
    """Return the wall time with the offset of this place."""
    return datetime.now().astimezone()


def rfc3339(when: datetime) -> str:
    """Return ``when`` to the millisecond; a time without offset is taken as local."""
    aware = when if when.tzinfo is not None else when.astimezone()
    return aware.isoformat(timespec="milliseconds")


def read_rfc3339(text: str) -> datetime:
    """Return the time that ``text`` tells.

    Raises:
        UnreadableError: it tells none, or has no offset.
    """
    try:
        when = datetime.fromisoformat(text)
    except ValueError as fault:
        raise UnreadableError(f"{text[:40]!r} is no RFC 3339 time") from fault
    if when.tzinfo is None:
        raise UnreadableError(f"{text[:40]!r} does not say its offset from universal time")
    return when


if sys.platform == "win32":
    import ctypes
    import msvcrt
    from ctypes import wintypes

    _FAR_PAST_THE_END: Final = 1 << 30
    """High half of an offset. Windows keeps others from reading a locked byte: lock one that
    no file has."""

    def take_lock(fd: int) -> bool:
        """Lock the open file for its one writer; return whether nobody else holds it."""
        handle = wintypes.HANDLE(msvcrt.get_osfhandle(fd))
        return bool(ctypes.windll.kernel32.LockFile(handle, 0, _FAR_PAST_THE_END, 1, 0))

else:
    import fcntl

    _HELD_BY_ANOTHER: Final = frozenset({errno.EACCES, errno.EAGAIN})

    def take_lock(fd: int) -> bool:
        """Lock the open file for its one writer; return whether nobody else holds it.

        The lock goes with the descriptor, so a killed writer leaves none behind. On a file
        system that knows no locks (some network shares) the file is taken as free.
        """
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            return fault.errno not in _HELD_BY_ANOTHER
        return True
