"""One conversation at a time, and nobody waits for ever."""

import threading
from types import TracebackType


class FairLock:
    """A lock whose waiter is served before the one who just had it.

    A reader that measures in a loop takes the line again as soon as it has let go; with a plain
    lock a second thread could wait for minutes. Here it stands at the door, and the reader has
    to queue behind it.
    """

    def __init__(self) -> None:
        self._door = threading.Lock()
        self._room = threading.Lock()

    def __enter__(self) -> None:
        with self._door:
            self._room.acquire()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._room.release()
