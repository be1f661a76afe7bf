"""A streaming or polled meter as a ``Source``: the thin shell around a decoder."""

import threading
from collections.abc import Callable, Iterator
from itertools import accumulate
from pathlib import Path
from typing import Final

import msgspec

from drivers.clock import Clock
from drivers.frames.description import Poll
from drivers.frames.frame_format import FrameFormat
from drivers.frames.framing import Frame, Status
from drivers.frames.store import load
from drivers.links.hid_link import HidLink
from drivers.links.link import SLICE_S, LineSettings, Link, Packets
from meterlink.errors import MeterError, MeterSilentError
from meterlink.judging.accuracy import Accuracy
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop

_MEASURES_OHMS = (Quantity.RESISTANCE, Quantity.CONTINUITY)


def setting_for(frame: Frame | None, setup: MeterSetup) -> Setting:
    """Return what the meter is set to, and in ``lost`` what the technician has to change.

    Over range the range is not told, unless it is a manual one: a meter with automatic range has
    then gone to its highest, and comes back.

    Args:
        frame: the newest; None where none has come.
        setup: what the step wants.
    """
    status = frame.status if frame is not None else None
    lost = [] if status is None else list(_lost(status, setup))
    if setup.four_wire:
        lost.append(
            "this meter tells nothing of four-wire measurement; measured with two wires, "
            "so take the lead zero"
        )
    if frame is None or status is None:
        lost.insert(
            0, "nothing has come from the meter yet; is it on, and is its data key pressed?"
        )
        return Setting(lost=tuple(lost))
    searching = frame.overload and status.auto is not False
    return Setting(
        quantity=None if status.assumed else status.quantity,
        range=None if searching else status.full,
        resolution=None if searching else status.resolution,
        lost=tuple(lost),
    )


def _lost(status: Status, setup: MeterSetup) -> list[str]:
    if status.hold:
        return ["the meter's own hold is on; press its hold key to let the display go on"]
    if not status.assumed and not _suits(status.quantity, setup.quantity):
        return [f"turn the meter from {plain(status.knob)} to {setup.quantity.value}"]
    if (
        status.auto is False
        and status.full is not None
        and setup.expected is not None
        and setup.expected > status.full
    ):
        unit = setup.quantity.unit
        return [
            f"the meter's range ends at {format_value(status.full, unit)}; set it to automatic "
            f"range, or to one of {format_value(setup.expected, unit)} or more"
        ]
    return []


def _suits(on: Quantity | None, wanted: Quantity) -> bool:
    """A continuity test can be read off a resistance range, but not the other way round:
    on continuity many meters read no further than some hundred ohms."""
    return on is wanted or (wanted is Quantity.CONTINUITY and on in _MEASURES_OHMS)


SILENT_S: Final = 5.0
"""After so long without a byte a meter counts as asleep, seconds; longer for a slow one."""
_TICK_S: Final = 1e-6
"""Least time between two readings, so that none is taken for another."""
_FIRST_S: Final = 3.0
"""Longest wait for a first frame in ``prepare``."""
_TOO_MANY: Final = 8
"""Frames that do not fit before we say that this is no such meter."""
_NONSENSE_S: Final = 0.5
"""And for so long: a burst of noise at the very beginning is a single fault."""


class FrameSource:
    """Readings of a meter that only talks. Nothing on it can be set from here."""

    def __init__(self, link: Link, wire: FrameFormat, clock: Clock) -> None:
        """Read ``link``, which is open and set to the format's line; it is closed by ``close``."""
        self.wire: Final = wire
        self._link = link
        self._started_t: float | None = None
        self._clock = clock
        self._decoder = wire.decoder()
        self._poll = wire.description.poll
        line = wire.description.line
        bits = 1 + line.data_bits + (line.parity != "none") + line.stop_bits
        self._byte_s = bits / line.baud
        self._patience_s = max(SILENT_S, 3 / wire.description.rate.slowest_hz)
        self._using = threading.Lock()
        self._heard = threading.Event()
        self._newest: Frame | None = None
        self._setup: MeterSetup | None = None
        self._told: Setting | None = None
        self._noticed: tuple[Status, bool] | None = None
        self._last_t = 0.0
        self._first_heard_t: float | None = None
        self._waiting_since: float | None = None
        self.on_setting: Callable[[Setting], None] | None = None
        """Told, by the thread that reads and between two readings, when someone has turned the
        knob or the range has changed since ``prepare``: what the meter is set to now."""

    @property
    def identity(self) -> Identity:
        """The format's title; streaming meters do not say who they are."""
        return Identity(model=plain(self.wire.description.title), port=plain(self._link.name))

    @property
    def status(self) -> Status | None:
        """What the newest frame says beside its digits; None before the first."""
        return self._newest.status if self._newest is not None else None

    @property
    def dropped(self) -> int:
        """Frames thrown away so far."""
        return self._decoder.dropped

    @property
    def accuracy(self) -> Accuracy | None:
        """The meter's accuracy on the range that it is on, where the description gives it."""
        return self.status.accuracy if self.status is not None else None

    def prepare(self, setup: MeterSetup) -> Setting:
        """Say what the knob is on; ``lost`` says what to turn it to where that does not suit.

        Before the first frame this waits for one, a little more than the meter's slowest rate and
        at most 3 s; after that it returns at once, so it may be asked as often as one likes.

        Raises:
            PortLostError: the meter went away.
        """
        self._setup = setup
        if not self._heard.is_set():
            self._await_first()
        self._told = setting_for(self._newest, setup)
        return self._told

    def confirm(self, setup: MeterSetup) -> Setting:
        """Return what the newest frame says that the knob is on; such a meter cannot be asked."""
        self._told = setting_for(self._newest, setup)
        return self._told

    def readings(self, stop: Stop) -> Iterator[Reading]:
        """Yield readings; see ``Source``. What a display that is held shows carries the flag.

        Raises:
            PortLostError: the meter went away.
            MeterSilentError: it has sent nothing for ``SILENT_S``.
            MeterError: what comes does not fit the format.
        """
        with self._using:
            self._waiting_since = self._clock.now()
            while not stop.is_set():
                began = self._clock.now()
                yield from self._readings_of(self._next_frames(stop))
                if self._poll is not None:
                    stop.wait(max(0.0, self._poll.every_s - (self._clock.now() - began)))

    def close(self) -> None:
        """Close the link. Safe to call twice."""
        self._link.close()

    def _await_first(self) -> None:
        """Wait for a first frame: read for it, or let the thread that reads already do so."""
        patience = min(_FIRST_S, 1.5 / self.wire.description.rate.slowest_hz + SLICE_S)
        until = self._clock.now() + patience
        if not self._using.acquire(blocking=False):
            self._heard.wait(patience)
            return
        try:
            while not self._heard.is_set() and self._clock.now() < until:
                self._next_frames(self._heard)
        finally:
            self._using.release()

    def _next_frames(self, stop: Stop) -> list[Frame]:
        """Return what comes within a slice of time, or in answer to one command."""
        self._start()
        if self._poll is None:
            return self._frames(self._link.read(SLICE_S))
        return self._answer(self._poll, stop)

    def _start(self) -> None:
        """Send what the meter wants to hear, once or again and again."""
        start, now = self.wire.description.start, self._clock.now()
        if start is None or (self._started_t is not None and not start.again_s):
            return
        if self._started_t is None or now - self._started_t >= start.again_s:
            self._started_t = now
            self._link.write(self.wire.start_bytes)

    def _answer(self, poll: Poll, stop: Stop) -> list[Frame]:
        """Ask once; return as soon as a frame has come, or nothing when the time is up."""
        # A late answer to the command before must not be taken for the answer to this one.
        self._link.discard()
        self._decoder.expect_whole()
        self._link.write(poll.command.encode("latin-1"))
        until = self._clock.now() + poll.timeout_s
        frames: list[Frame] = []
        while not frames and not stop.is_set():
            left = until - self._clock.now()
            if left <= 0:
                break
            frames = self._frames(self._link.read(min(left, SLICE_S)))
        return frames

    def _frames(self, data: bytes) -> list[Frame]:
        """Decode, and keep what the newest frame says.

        Raises:
            MeterSilentError: nothing has come for too long.
            MeterError: never yet a frame, and too much that is none.
        """
        now = self._clock.now()
        if data:
            self._waiting_since = now
            self._first_heard_t = now if self._first_heard_t is None else self._first_heard_t
        elif self._waiting_since is not None and now - self._waiting_since > self._patience_s:
            raise MeterSilentError(
                f"{plain(self._link.name)} is there, but no meter sends; it may have switched "
                "itself off to save its battery, so wake it, or turn its sending on"
            )
        frames = self._decoder.feed(data)
        if frames:
            self._newest = frames[-1]
            self._heard.set()
        elif not self._heard.is_set():
            self._refuse_nonsense(now)
        return frames

    def _readings_of(self, frames: list[Frame]) -> Iterator[Reading]:
        """Yield the readings of frames that have just come."""
        now = self._clock.now()
        # Frames that came in one piece were sent one after another: each came as much earlier
        # as the bytes behind it take on the line.
        behind = accumulate(
            (len(frame.data) for frame in reversed(frames)), initial=self._decoder.backlog
        )
        ages = [count * self._byte_s for count in behind][: len(frames)]
        wanted = self._setup.quantity if self._setup is not None else None
        for frame, age in zip(frames, reversed(ages), strict=True):
            self._notice(frame)
            self._last_t = max(self._last_t + _TICK_S, now - age)
            reading = frame.reading(self._last_t, wanted)
            if reading is not None:
                yield reading

    def _notice(self, frame: Frame) -> None:
        """Tell ``on_setting`` what has changed."""
        looks = (frame.status, frame.overload)
        if looks == self._noticed or self._setup is None or self.on_setting is None:
            return
        self._noticed = looks
        setting, told = setting_for(frame, self._setup), self._told
        if setting.range is None and told is not None and setting.quantity is told.quantity:
            # Over range a meter searches its ranges; the one that it comes back to counts.
            setting = msgspec.structs.replace(setting, range=told.range, resolution=told.resolution)
        if setting != told:
            self._told = setting
            self.on_setting(setting)

    def _refuse_nonsense(self, now: float) -> None:
        decoder, since = self._decoder, self._first_heard_t
        too_much = decoder.dropped >= _TOO_MANY
        too_much = too_much or decoder.dropped_bytes > _TOO_MANY * self.wire.longest
        if too_much and since is not None and now - since > _NONSENSE_S:
            raise MeterError(
                f"what comes from {plain(self._link.name)} does not fit the frame format "
                f"{self.wire.name}; check the speed, or leave --frames out to have it found"
            )


def open_wire(
    link: Link, wire: str | Path | FrameFormat, clock: Clock, line: LineSettings | None = None
) -> FrameSource:
    """Read the meter at ``link`` by a format's description.

    Args:
        link: an open port; its line is set as the description says.
        wire: name of a format, path of a description, or a format.
        clock: stamps the readings.
        line: settings that the meter was found with; default the description's.

    Raises:
        UsageError: there is no such format.
        InvalidFileError, UnreadableError: its description cannot be used.
        MeterError: the port refuses the line settings.
    """
    known = wire if isinstance(wire, FrameFormat) else load(wire)
    if isinstance(link, HidLink):
        link.use(known.description.hid or Packets())
    link.configure(line or known.description.line)
    return FrameSource(link, known, clock)
