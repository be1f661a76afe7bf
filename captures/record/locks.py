"""One writer a file: a lock that the system lets go of when its holder dies."""

import errno
import sys
from typing import Final

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
