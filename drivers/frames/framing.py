"""Cuts a stream of bytes into frames, whatever the pieces it comes in. No port, no clock.

Whatever is lost, doubled or disturbed, the next whole frame that can be told apart from what
is left of a broken one is handed out; what is between is dropped and counted. At most one
frame is held back.
"""

from collections.abc import Callable
from math import inf

import msgspec

from meterlink.judging.accuracy import Accuracy
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading


class Status(msgspec.Struct, frozen=True, kw_only=True):
    """Everything in a frame but its digits. Made once for each that appears, then shared."""

    quantity: Quantity | None
    """None where the knob is on what gives no reading here."""
    knob: str
    """What the knob is on, in words."""
    assumed: bool = False
    """The frame does not tell; ``quantity`` is what the description assumes."""
    multiplier: int = 1
    divisor: int = 1
    """The value is the digits, read as a whole number, times ``multiplier`` by ``divisor``."""
    resolution: float | None = None
    """What one count of the last digit is worth, SI units."""
    largest: float = inf
    """A larger whole number cannot be shown."""
    full: float | None = None
    """Full scale of the range, SI units."""
    overload: bool = False
    negative: bool = False
    hold: bool = False
    """The meter's own hold: the display is frozen."""
    auto: bool | None = None
    """Automatic range; None where the frame does not tell."""
    flags: frozenset[str] = frozenset()
    """Every other flag that is set, under the description's name for it, these four included."""
    told: tuple[str, ...] = ()
    """Those of the flags that the engine knows (``meter_state.MEANINGS``)."""
    accuracy: Accuracy | None = None


class Frame(msgspec.Struct, frozen=True, gc=False):
    """One frame that passed every check of its format."""

    value: float
    """SI units; infinite when ``overload``, not-a-number where the meter sent that."""
    overload: bool
    status: Status
    data: bytes
    """As it came, without a line's end."""
    text: str = ""
    """The same as characters, where the format is made of them."""

    def reading(self, t: float, assumed: Quantity | None = None) -> Reading | None:
        """Return this as a reading at ``t`` seconds; None where the knob is on no quantity.

        ``assumed`` is the quantity to take where the frame does not tell it.
        """
        quantity = self.status.quantity
        if quantity is None:
            return None
        if self.status.assumed and assumed is not None:
            quantity = assumed
        status = self.status
        return Reading(
            t, self.value, quantity, status.resolution, self.overload, self.raw, status.told
        )

    @property
    def raw(self) -> str:
        """The frame for people: its characters made plain, or its bytes in hexadecimal."""
        return plain(self.text.strip()) if self.text else self.data.hex(" ")


FrameReader = Callable[[bytes], Frame | None]


class BytesFraming:
    """Frames of bytes, found by what every one of them has in common."""

    def __init__(
        self,
        read: FrameReader,
        longest: int,
        tail: bytes,
        *,
        self_marking: bool,
        span: Callable[[bytes], int | None] | None = None,
    ) -> None:
        """Cut frames that ``read`` accepts.

        After something was lost, the stream is out of step until a frame is certain to begin
        where it seems to: the frame is ``self_marking``, or the ``tail`` of another frame comes
        just before. Else the end of one frame and the rest of the next could pass for a third.

        Args:
            read: reads a frame.
            longest: bytes in a frame; where ``span`` tells its length, the most.
            tail: the bytes that end every frame.
            self_marking: whether a frame's beginning cannot be taken for anything else.
            span: how many bytes the frame that begins here has; None where more must come to
                know, 0 where none can begin here.
        """
        self._read = read
        self._longest = longest
        self._span = span
        self._tail = tail
        self._self_marking = self_marking
        self._rest = b""
        self._before = b""
        self._skipped = 0
        self.dropped_frames = 0
        self.dropped_bytes = 0

    @property
    def backlog(self) -> int:
        """Bytes held back until the rest of their frame comes; less than a frame."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[Frame]:
        """Return the frames that ``data`` completes, oldest first."""
        data = self._rest + data
        longest, read, told = self._longest, self._read, self._span
        frames: list[Frame] = []
        at, size = 0, len(data)
        span: int | None = longest
        while at < size:
            if told is not None:
                span = told(data[at : at + longest])
            if span is None or span > size - at:
                break
            frame = read(data[at : at + span]) if span else None
            if frame is None:
                self._skip(1)
                at += 1
                continue
            if self._skipped and not self._certain(data, at):
                self._skip(span)
                self.dropped_frames += 1
            else:
                frames.append(frame)
            self._skipped = 0
            at += span
        self._before = (self._before + data[:at])[-len(self._tail) :] if self._tail else b""
        self._rest = data[at:]
        return frames

    def expect_whole(self) -> None:
        """Take what comes next for the beginning of a frame, as after a command."""
        self.dropped_bytes += len(self._rest)
        self._rest = self._before = b""
        self._skipped = 0

    def _skip(self, count: int) -> None:
        """Drop bytes; every frame's length of them, begun or whole, counts as one frame."""
        if count == 1:
            if self._skipped % self._longest == 0:
                self.dropped_frames += 1
            self._skipped += 1
        self.dropped_bytes += count

    def _certain(self, data: bytes, at: int) -> bool:
        if self._self_marking:
            return True
        before = (self._before + data[max(0, at - self._longest) : at])[-self._longest :]
        return bool(self._tail) and before.endswith(self._tail)


class LineFraming:
    """Lines of text."""

    def __init__(
        self,
        read: FrameReader,
        begins: Callable[[bytes], bool],
        end: bytes,
        longest: int,
        *,
        self_marking: bool,
    ) -> None:
        """Cut lines that ``read`` accepts.

        Args:
            read: reads a line without its end.
            begins: whether a line begins with a whole sound one, as two do that ran together.
            end: what ends a line; CR and LF each do where it is made of them.
            longest: most bytes in a line.
            self_marking: whether the rest of a line cut off at its front cannot pass for a line.
        """
        self._read = read
        self._begins = begins
        self._any_end = set(end) <= set(b"\r\n")
        self._end = b"\n" if self._any_end else end
        self._longest = longest
        self._self_marking = self_marking
        self._rest = b""
        self._suspect = not self_marking  # the first line may be the rest of one
        self._endless = False
        self.dropped_frames = 0
        self.dropped_bytes = 0

    @property
    def backlog(self) -> int:
        """Bytes held back until the end of their line comes; at most the longest line."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[Frame]:
        """Return the frames that ``data`` completes, oldest first."""
        data = self._rest + data
        if self._any_end:
            data = data.replace(b"\r", b"\n")
        *lines, self._rest = data.split(self._end)
        frames = [frame for line in lines if line and (frame := self._take(line)) is not None]
        if len(self._rest) > self._longest:
            if not self._endless:
                self.dropped_frames += 1
            self.dropped_bytes += len(self._rest)
            self._rest = b""
            self._endless = True
        return frames

    def expect_whole(self) -> None:
        """Take what comes next for the beginning of a line, as after a command."""
        self.dropped_bytes += len(self._rest)
        self._rest = b""
        self._suspect = self._endless = False

    def _take(self, line: bytes) -> Frame | None:
        if self._endless:  # the end of a line whose beginning is thrown away already
            self._endless = False
            self.dropped_bytes += len(line)
            return None
        frame = self._read(line) if len(line) <= self._longest else None
        suspect, self._suspect = self._suspect, False
        if frame is not None and not suspect:
            return frame
        self.dropped_frames += 1
        self.dropped_bytes += len(line)
        # A line that broke in two gives a front that is no line, and a rest that may be one.
        if frame is None and not self._self_marking:
            self._suspect = not self._begins(line)
        return None


class Decoder:
    """Bytes in any cut, frames out. One for each stream; no port, no clock."""

    def __init__(self, framing: BytesFraming | LineFraming) -> None:
        self._framing = framing
        self.feed = framing.feed
        self.expect_whole = framing.expect_whole

    @property
    def dropped(self) -> int:
        """Frames that were thrown away, damaged, cut off or not to be trusted."""
        return self._framing.dropped_frames

    @property
    def dropped_bytes(self) -> int:
        """Bytes that were thrown away."""
        return self._framing.dropped_bytes

    @property
    def backlog(self) -> int:
        """Bytes held back until the rest of their frame comes."""
        return self._framing.backlog
