"""What a bad cable, adapter or battery does to a stream of frames. Made to happen on purpose."""

import random
from collections.abc import Iterator
from enum import Enum
from typing import Annotated

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


Share = Annotated[float, msgspec.Meta(ge=0, le=1)]


class StreamFaults(msgspec.Struct, frozen=True, kw_only=True):
    """How often each fault happens, as a share of the frames; 0 for never."""

    drop: Share = 0.0
    """One to three bytes are lost."""
    flip: Share = 0.0
    """One bit arrives wrong."""
    insert: Share = 0.0
    """One to three bytes come in that nobody sent."""
    split: Share = 0.0
    """The frame comes in pieces with pauses between."""
    stall: Share = 0.0
    """The meter is silent for ``stall_s`` before the frame."""
    stall_s: float = 2.0
    unplug: Share = 0.0
    """The plug slips in the middle of the frame and is back after ``unplug_s``."""
    unplug_s: float = 2.0
    replug_elsewhere: bool = True
    """Whether the port has another name when the plug is back."""
    wrong_settings: bool = False
    """The meter's line settings are not those that its wire says."""
    endless: Share = 0.0
    """In place of the frame come some thousand bytes without an end."""


class Send(msgspec.Struct, frozen=True):
    """Put these bytes on the line."""

    data: bytes


class Pause(msgspec.Struct, frozen=True):
    """Let so many seconds pass."""

    seconds: float


class Unplug(msgspec.Struct, frozen=True):
    """Pull the plug for so many seconds."""

    seconds: float


Happening = Send | Pause | Unplug


class StreamFaultInjector:
    """Turns each frame into what really happens on the line."""

    PAUSE_S = 0.02
    ENDLESS_BYTES = 4096

    def __init__(self, faults: StreamFaults, rng: random.Random) -> None:
        self._faults = faults
        self._rng = rng
        self.spoiled = 0
        """Frames that did not go out as they should."""

    def happenings(self, frame: bytes) -> Iterator[Happening]:
        """Yield what happens in place of sending ``frame``."""
        faults, rng = self._faults, self._rng
        if self._falls(faults.stall):
            yield Pause(faults.stall_s)
        if self._falls(faults.unplug):
            cut = rng.randrange(len(frame))
            yield Send(frame[:cut])
            yield Unplug(faults.unplug_s)
            self.spoiled += 1
            return
        if self._falls(faults.endless):
            # A byte of the frame over and over, so that it looks as much as it can like one.
            yield Send(frame[:1] * self.ENDLESS_BYTES)
            self.spoiled += 1
            return
        data = self._damaged(frame)
        self.spoiled += data != frame
        if self._falls(faults.split) and len(data) > 1:
            cut = rng.randrange(1, len(data))
            yield Send(data[:cut])
            yield Pause(self.PAUSE_S)
            data = data[cut:]
        yield Send(data)

    def _falls(self, share: float) -> bool:
        # Not drawn where it is never, so that a seed gives the same values with and without.
        return share > 0 and self._rng.random() < share

    def _damaged(self, frame: bytes) -> bytes:
        rng, data = self._rng, bytearray(frame)
        if self._falls(self._faults.drop):
            at = rng.randrange(len(data))
            del data[at : at + rng.randint(1, 3)]
        if self._falls(self._faults.flip) and data:
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        if self._falls(self._faults.insert):
            at = rng.randrange(len(data) + 1)
            data[at:at] = rng.randbytes(rng.randint(1, 3))
        return bytes(data)
