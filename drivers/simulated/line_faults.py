"""What can go wrong on the line between a meter and the computer, made to happen on purpose."""

from enum import Enum

import msgspec


class LineFaults(Enum):
    """A fault of the line or of the meter's answering."""

    STALL = "stall"
    """Nothing is answered."""
    HALF = "half"
    """Half an answer, and then nothing."""
    RUBBISH = "rubbish"
    """Control bytes in place of an answer."""
    NOT_A_NUMBER = "not-a-number"
    """The standard's not-a-number in place of a reading."""
    DROP = "drop"
    """The line goes down instead of an answer."""


class LineFault(msgspec.Struct, frozen=True, kw_only=True):
    """A fault that sets in after so many answers and lasts for so many."""

    what: LineFaults
    after: int = 0
    times: int = 1


class FaultInjector:
    """Takes answers as they should go out and gives them back as they will. None: drop the line."""

    RUBBISH = b"\x00\x1b[2J\xff\xfe\x07garbage\r\n"

    def __init__(self) -> None:
        self._trouble: LineFault | None = None
        self._answers = 0

    def make(self, trouble: LineFault | None) -> None:
        """From now on count answers, and spoil those that ``trouble`` says; None for peace."""
        self._trouble, self._answers = trouble, 0

    def spoil(self, answer: bytes) -> bytes | None:
        """Return what goes out instead of ``answer``."""
        trouble = self._trouble
        if trouble is None or not answer:
            return answer
        self._answers += 1
        since = self._answers - trouble.after
        if since < 1:
            return answer
        if since >= trouble.times:
            self._trouble = None
        match trouble.what:
            case LineFaults.STALL:
                return b""
            case LineFaults.HALF:
                return answer[: max(1, len(answer) // 2)]
            case LineFaults.RUBBISH:
                return self.RUBBISH
            case LineFaults.NOT_A_NUMBER:
                return b"+9.91000000E+37\n"
            case LineFaults.DROP:
                return None
