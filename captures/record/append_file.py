"""Bytes at the end of a file, kept through crashes, full disks and pulled-out sticks.

The promise, which FORMAT.md states and the tests hold:

* ``append`` returns when the system has the bytes: killing the program loses none of them.
* A thread asks the system to put them on the medium within ``PROMISE_S`` of their arrival:
  losing power loses at most that much, and what the medium itself still had in its cache.
* While the medium takes nothing, what arrives is held in memory, up to ``HOLD_BYTES``; the rest
  is refused, so that memory stays bounded. Writing goes on as soon as the medium lets it.

Nothing here knows what the bytes mean, except that the file is only ever made longer.
"""

import contextlib
import os
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Final

from captures.record.files import sync_folder, take_lock
from meterlink.errors import CannotWriteError, InUseError
from meterlink.quantities.text import plain

PROMISE_S: Final = 0.5
"""At most this many seconds of what was appended can be missing after a loss of power."""

_SYNC_AFTER_S: Final = 0.2
"""How long bytes may gather before they are sent to the medium; well inside the promise."""

_RETRY_S: Final = 1.0
"""How often a medium that took nothing is tried again."""

HOLD_BYTES: Final = 8 << 20
"""Held in memory while nothing can be written: some 80,000 readings."""

_LOOK_S: Final = 0.5
"""How often is looked whether the file is still where it was."""

_HEAD_BYTES: Final = 4096
"""How much of the start of a file has to be the same for it to be the same record."""

_OPEN_FLAGS: Final = (
    os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
)

_COPIED: Final = 1 << 20
"""Bytes at a time."""

OnTrouble = Callable[[str], None]
"""Called with one sentence when writing fails, and with "" when it works again. It may be
called from any thread and must not write to the same file."""


class AppendFile:
    """A file that one writer makes longer. Safe to use from several threads."""

    def __init__(
        self,
        path: Path,
        *,
        create: bool,
        on_trouble: OnTrouble | None = None,
        hold_bytes: int = HOLD_BYTES,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Open ``path``, which must exist unless ``create``, in which case it must not.

        Raises:
            InUseError: another writer has it.
            CannotWriteError: it cannot be made or opened for writing.
        """
        self.path = path
        self._why = ""
        """What the system says while writing does not work, else empty."""
        self._on_trouble = on_trouble
        self._hold_bytes = hold_bytes
        self._clock = clock
        self._lock = threading.RLock()
        self._fd = _open_locked(path, create=create)
        self._written = os.fstat(self._fd).st_size
        self._head = _read_head(self._fd)
        self._held = bytearray()
        """Arrived and not yet taken by the system."""
        self._unsynced: deque[bytes] = deque()
        """What the system took last and the medium may not have yet, oldest first."""
        self._synced = self._written
        """File offset where ``_unsynced`` begins."""
        self._retry_at = 0.0
        self._gone = ""
        """What happened to the file while it was written, in one sentence; else empty."""
        self._moved = False
        self._closing = threading.Event()
        self._work = threading.Event()
        self._syncer = threading.Thread(target=self._sync_forever, name="captures", daemon=True)
        self._syncer.start()

    @property
    def trouble(self) -> str:
        """One sentence while writing fails, or where the file was taken away; else empty."""
        if not self._why:
            return self._gone
        return (
            f"{plain(str(self.path))} cannot be written ({self._why}); what comes is held "
            "in memory: free some space or put the medium back"
        )

    def append(self, data: bytes, *, keep_free: int = 0) -> bool:
        """Write ``data``, or hold it while nothing can be written.

        Returns False, with nothing taken, where holding it would leave less than ``keep_free``
        bytes of the memory set aside.
        """
        with self._lock:
            if self._closing.is_set():
                raise ValueError(f"{self.path} is closed")
            if self._held:
                self._try_again()
            if not self._held:
                self._put(data)
                return True
            if len(self._held) + len(data) + keep_free > self._hold_bytes:
                return False
            self._held += data
            return True

    def sync(self) -> bool:
        """Put everything on the medium now; return whether that worked."""
        with self._lock:
            self._try_again(now=True)
            try:
                _to_medium(self._fd)
            except OSError as fault:
                self._say(fault.strerror or "unknown fault")
            else:
                self._is_synced(self._written)
            return not self.trouble

    def close(self) -> None:
        """Write what can be written, let go of the lock. Safe to call twice.

        Raises:
            CannotWriteError: something held could still not be written, and is lost.
        """
        with self._lock:
            if self._closing.is_set():
                return
            with contextlib.suppress(CannotWriteError):
                self._look_after_it()
            self.sync()
            self._closing.set()
            lost = len(self._held)
            os.close(self._fd)
        self._work.set()
        self._syncer.join()
        if lost:
            raise CannotWriteError(
                f"{plain(str(self.path))}: the last {lost} bytes could not be written "
                f"({self._why}); what was written before is safe"
            )

    def _put(self, data: bytes) -> None:
        """Hand ``data`` to the system; hold what it does not take."""
        taken, length = 0, len(data)
        try:
            taken = os.write(self._fd, data)
            while taken < length:
                taken += os.write(self._fd, data[taken:])
        except OSError as fault:
            self._held += data[taken:]
            self._retry_at = self._clock() + _RETRY_S
            self._say(fault.strerror or "unknown fault")
        if not taken:
            return
        if taken < length:
            data = data[:taken]
        self._written += taken
        if len(self._head) < _HEAD_BYTES:
            self._head += data[: _HEAD_BYTES - len(self._head)]
        self._unsynced.append(data)
        if self._written - self._synced > self._hold_bytes:
            self._unsynced.clear()
            self._synced = self._written
        if not self._work.is_set():  # setting it is dear, and asking is not
            self._work.set()

    def _is_synced(self, offset: int) -> None:
        """Note that everything before ``offset`` is on the medium."""
        while self._unsynced and self._synced + len(self._unsynced[0]) <= offset:
            self._synced += len(self._unsynced.popleft())
        if not self._held:
            self._say("")

    def _try_again(self, *, now: bool = False) -> None:
        """Write what is held, if there is any and it is time to."""
        if not self._held or (not now and self._clock() < self._retry_at):
            return
        self._put_held()
        if self._held and self._reopen():
            self._put_held()
        if not self._held:
            self._say("")

    def _put_held(self) -> None:
        held, self._held = bytes(self._held), bytearray()
        self._put(held)

    def _reopen(self) -> bool:
        """Take the file up under its name again: a stick that came back is a new file to us."""
        try:
            fd = _open_locked(self.path, create=False)
        except CannotWriteError:
            return False
        size = os.fstat(fd).st_size
        if not self._synced <= size <= self._written or _read_head(fd) != self._head[:size]:
            os.close(fd)
            return False
        os.close(self._fd)
        self._fd = fd
        unsynced = b"".join(self._unsynced)
        kept, missing = unsynced[: size - self._synced], unsynced[size - self._synced :]
        self._unsynced = deque([kept] if kept else [])
        self._held = bytearray(missing) + self._held
        self._written = size
        return True

    def _say(self, why: str) -> None:
        if why == self._why:
            return
        self._why = why
        if self._on_trouble is not None:
            self._on_trouble(self.trouble)

    def _look_after_it(self) -> None:
        """Notice that the file was deleted or moved; save what was deleted through our handle."""
        here = os.fstat(self._fd)
        try:
            there = os.stat(self.path)  # noqa: PTH116  # as often as this it is worth it
        except (FileNotFoundError, NotADirectoryError):
            there = None
        except OSError:
            return  # the medium is in trouble, and writing will say so
        if there is not None and (there.st_dev, there.st_ino) == (here.st_dev, here.st_ino):
            self._moved = False
            return
        name = plain(str(self.path), 400)
        if here.st_nlink:
            if not self._moved and not self._why:
                self._moved = True
                self._tell(
                    f"{name} is no longer there: it was moved or renamed while it was written. "
                    "What comes is still written into it, wherever it is now; put it back"
                )
            return
        try:
            saved = self._save_again(there is not None)
        except OSError as fault:
            self._say(f"it was deleted, and cannot be saved again: {fault.strerror}")
            return
        self._tell(
            f"{name} was deleted while it was written, and has been saved again as "
            f"{plain(str(saved), 400)}; what else was deleted with it is gone"
        )

    def _save_again(self, taken: bool) -> Path:
        """Write all of a deleted file again from the open handle; another file has its name."""
        path = self.path.with_name(f"saved-{self.path.name}") if taken else self.path
        path.parent.mkdir(parents=True, exist_ok=True)
        fd = _open_locked(path, create=True)
        try:
            os.lseek(self._fd, 0, os.SEEK_SET)
            while piece := os.read(self._fd, _COPIED):
                rest = memoryview(piece)
                while rest:
                    rest = rest[os.write(fd, rest) :]
            _to_medium(fd)
        except BaseException:
            os.close(fd)
            path.unlink(missing_ok=True)
            raise
        os.close(self._fd)
        self._fd, self.path = fd, path
        return path

    def _tell(self, sentence: str) -> None:
        self._gone = sentence
        if self._on_trouble is not None:
            self._on_trouble(self.trouble)

    def _sync_forever(self) -> None:
        while not self._closing.is_set():
            self._work.wait(timeout=_LOOK_S)
            self._closing.wait(_SYNC_AFTER_S)
            self._work.clear()
            with self._lock:
                if self._closing.is_set():
                    return
                with contextlib.suppress(CannotWriteError):
                    self._look_after_it()
                self._try_again()
                fd, written = os.dup(self._fd), self._written
            # The medium may take a second over this: appending goes on meanwhile.
            why = ""
            try:
                if written > self._synced:
                    _to_medium(fd)
            except OSError as fault:
                why = fault.strerror or "unknown fault"
            finally:
                os.close(fd)
            with self._lock:
                if why:
                    self._say(why)
                else:
                    self._is_synced(written)


def _open_locked(path: Path, *, create: bool) -> int:
    flags = _OPEN_FLAGS | (os.O_CREAT | os.O_EXCL if create else 0)
    try:
        fd = os.open(path, flags, 0o644)
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(path))} cannot be {'made' if create else 'opened for writing'}: "
            f"{fault.strerror}"
        ) from fault
    if not take_lock(fd):
        os.close(fd)
        raise InUseError(
            f"{plain(str(path))} is being written by another program; close that one first"
        )
    if create:
        sync_folder(path.parent)
    return fd


def _read_head(fd: int) -> bytes:
    os.lseek(fd, 0, os.SEEK_SET)
    return os.read(fd, _HEAD_BYTES)


if sys.platform == "darwin":
    import fcntl

    def _to_medium(fd: int) -> None:
        """Ask the drive itself, as fsync there stops at the drive's cache."""
        try:
            fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
        except OSError:
            os.fsync(fd)

else:
    _to_medium = getattr(os, "fdatasync", os.fsync)
