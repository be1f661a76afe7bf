"""A simulated meter that streams, or answers when polled, with faults on request."""

import random
import threading
from collections.abc import Callable, Iterator, Sequence
from math import exp, inf
from typing import Annotated, Final, Self

import msgspec

from drivers.frames.frame_format import FrameFormat
from drivers.links.link import LineSettings, decode_at_wrong_settings
from drivers.simulated.serve import StreamPort
from meterlink.closing import Closing
from meterlink.reading import Quantity

OHMS: Final = (0.84, 5130.0, 0.31, 11_800.0)
"""What is probed where nothing else is asked for: a primary, a secondary, a closed switch, and a
secondary with its plug cap."""

_AIR_S: Final = 2.0
_TOUCH_S: Final = 4.0
_SETTLES_S: Final = 0.3
_NOISE: Final = 0.001
_LEADS: Final = 0.12


def touches(rng: random.Random, rate_hz: float, ohms: Sequence[float] = OHMS) -> Iterator[float]:
    """Yield the ohms at the meter's sockets, infinite in the air, ``rate_hz`` times a second.

    Each touch begins high, as the tips bed in, and settles to the resistance and the leads with a
    little noise; between touches the probes are in the air.
    """
    air, touch = round(_AIR_S * rate_hz), round(_TOUCH_S * rate_hz)
    while True:
        for resistance in ohms:
            for _ in range(max(1, air)):
                yield inf
            for number in range(max(1, touch)):
                bedding = 0.5 * exp(-number / (rate_hz * _SETTLES_S))
                yield max(0.0, (resistance + _LEADS) * (1 + rng.gauss(0, _NOISE)) + bedding)


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
    """The meter's line settings are not those that its frame format says."""
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

    def happenings(self, frame: bytes) -> Iterator[Happening]:
        """Yield what happens in place of sending ``frame``."""
        faults, rng = self._faults, self._rng
        if self._falls(faults.stall):
            yield Pause(faults.stall_s)
        if self._falls(faults.unplug):
            cut = rng.randrange(len(frame))
            yield Send(frame[:cut])
            yield Unplug(faults.unplug_s)
            return
        if self._falls(faults.endless):
            # A byte of the frame over and over, so that it looks as much as it can like one.
            yield Send(frame[:1] * self.ENDLESS_BYTES)
            return
        data = self._damaged(frame)
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


_LISTEN_S: Final = 0.1


class StreamingMeter(Closing):
    """A meter on ``port`` that sends until it is closed. A thread of its own serves it."""

    def __init__(
        self,
        wire: FrameFormat,
        port: StreamPort,
        *,
        values: Iterator[float] | None = None,
        for_each_reader: Callable[[], Iterator[float]] | None = None,
        quantity: Quantity = Quantity.RESISTANCE,
        flags: Sequence[str] | None = None,
        rate_hz: float | None = None,
        faults: StreamFaults | None = None,
        mind_speed: bool = False,
        seed: int = 1,
        moved: Callable[[str], None] | None = None,
    ) -> None:
        """Set the meter up; ``with`` starts it.

        Args:
            wire: what it speaks.
            port: where it is found; closed with the meter.
            values: SI units, infinite for an overload; default probes that touch things. The
                meter falls silent where they end.
            for_each_reader: gives such values, without an end, afresh for each reader; while nobody
                reads, the meter sends overloads. In place of ``values``.
            quantity: what its knob is on.
            flags: flags that are set in every frame, such as ``hold``; default automatic range,
                where the frame format has a flag for it.
            rate_hz: frames a second; default the frame format's usual rate.
            faults: what goes wrong.
            mind_speed: garble what a reader hears who has set another speed; only where the port
                can tell.
            seed: of values and faults.
            moved: told each new name of the port after the plug was pulled.
        """
        rng = random.Random(seed)  # noqa: S311 - no secret
        rate = rate_hz or wire.description.rate.usual_hz
        self.wire: Final = wire
        self.port: Final = port
        self.sent = 0
        """Frames that were sent, sound or not."""
        self._again = for_each_reader
        self._values = values if values is not None else touches(rng, rate)
        self._encoder = wire.encoder()
        self._quantity = quantity
        if flags is None:
            flags = [flag for flag in wire.description.flags if flag == "auto"]
        self._flags = tuple(flags)
        self._interval_s = 1 / rate
        self._faults = faults or StreamFaults()
        self._spoiler = StreamFaultInjector(self._faults, random.Random(seed + 1))  # noqa: S311
        self._line = _line_of(wire, wrong=self._faults.wrong_settings)
        self._mind_speed = mind_speed
        self._moved = moved or (lambda _name: None)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="streaming-meter", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def close(self) -> None:
        """Stop sending and free the port. Safe to call twice."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        self.port.unplug()

    def _run(self) -> None:
        for value in self._values if self._again is None else self._for_readers(self._again):
            if self._stop.is_set() or not self._wait_for_turn():
                return
            frame = self._encoder.frame(value, self._quantity, flags=self._flags)
            for happening in self._spoiler.happenings(frame):
                if self._stop.is_set():
                    return
                if isinstance(happening, Send):
                    self._send(happening.data)
                elif isinstance(happening, Pause):
                    self._stop.wait(happening.seconds)
                else:
                    self._pull_plug(happening.seconds)
            self.sent += 1

    def _for_readers(self, fresh: Callable[[], Iterator[float]]) -> Iterator[float]:
        while True:
            while not self.port.has_reader():
                yield inf
            for value in fresh():
                yield value
                if not self.port.has_reader():
                    break

    def _wait_for_turn(self) -> bool:
        """Wait until the next frame is due, or asked for; False where all is to end."""
        poll = self.wire.description.poll
        if poll is None:
            return not self._stop.wait(self._interval_s)
        command, heard = poll.command.encode("latin-1"), b""
        while not self._stop.is_set():
            heard = (heard + self.port.receive(_LISTEN_S))[-64:]
            if command in heard:
                return not self._stop.wait(self._interval_s)
        return False

    def _send(self, data: bytes) -> None:
        if not data:
            return
        reader = self._reader_line()
        self.port.send(
            data if reader == self._line else decode_at_wrong_settings(data, self._line, reader)
        )

    def _reader_line(self) -> LineSettings:
        """The settings that the reader has, as far as they count here."""
        expected = self.wire.description.line
        baud = self.port.reader_baud if self._mind_speed else None
        return expected if baud is None else msgspec.structs.replace(expected, baud=baud)

    def _pull_plug(self, seconds: float) -> None:
        self.port.unplug()
        self._stop.wait(seconds)
        if not self._stop.is_set():
            self.port.plug_in(elsewhere=self._faults.replug_elsewhere)
            self._moved(self.port.name)


def _line_of(wire: FrameFormat, *, wrong: bool) -> LineSettings:
    """The meter's own line settings: the frame format's, or others if they are to be wrong."""
    line = wire.description.line
    return msgspec.structs.replace(line, baud=line.baud * 2) if wrong else line
