"""A meter that survives its cable: unplugged, replugged under whatever name, it goes on.

While it is away no reading comes; what is missing is told as a ``Gap``. A new connection is a
new conversation on the same clock, so no reading is given twice and time never goes back.
"""

import threading
from collections.abc import Callable, Iterator
from typing import Final

from drivers.clock import Clock
from drivers.frames.frame_source import FrameSource
from meterlink.errors import MeterError, MeterSilentError, PortLostError
from meterlink.events import Gap
from meterlink.reading import Reading
from meterlink.source import Identity, MeterSetup, Setting, Source, Stop

RETRY_S: Final = 0.5
"""Pause between two attempts to find the meter again, seconds."""

_AWAY: Final = "the meter is away; it is set as soon as it is back"


class ReconnectingSource:
    """A ``Source`` around one that may be lost, with a way to open it again.

    ``on_gap`` is called in the thread that reads, between two readings: when the meter is lost,
    with ``until`` None and the reason; and when it is back, with ``until`` set. So the loop that
    writes the readings down can write the gap down at its place.
    """

    def __init__(
        self,
        source: Source,
        reopen: Callable[[], Source],
        clock: Clock,
        on_gap: Callable[[Gap], None] | None = None,
        *,
        retry_s: float = RETRY_S,
    ) -> None:
        """Read ``source`` until it is lost, then what ``reopen`` gives.

        Args:
            source: open already; closed by ``close``.
            reopen: opens the same device again, raising ``MeterError`` while it is not there.
            clock: the one that stamps the readings.
            on_gap: takes note of what is missing; may be set later.
            retry_s: pause between two attempts, seconds.
        """
        self.on_gap = on_gap
        self.on_setting: Callable[[Setting], None] | None = None
        """Told, by the thread that reads, when someone has turned the meter's knob."""
        self._source = source
        self._listen_to(source)
        self._reopen = reopen
        self._clock = clock
        self._retry_s = retry_s
        self._setup: MeterSetup | None = None
        self._setting = threading.Lock()
        self._away = False
        self._closed = threading.Event()
        self._last_t: float | None = None

    @property
    def identity(self) -> Identity:
        """Who answers, or answered last."""
        return self._source.identity

    @property
    def inner(self) -> Source:
        """The source that is read at the moment, or was read last."""
        return self._source

    @property
    def away(self) -> bool:
        """Whether the meter is lost at the moment."""
        return self._away

    def prepare(self, setup: MeterSetup) -> Setting:
        """As for any source; while the meter is away, remember it for when it is back."""
        with self._setting:
            self._setup = setup
            if self._away:
                return Setting(lost=(_AWAY,))
            try:
                return self._source.prepare(setup)
            except (PortLostError, MeterSilentError):
                return Setting(lost=(_AWAY,))

    def confirm(self, setup: MeterSetup) -> Setting:
        """As for any source.

        Raises:
            MeterError: the meter is away, or makes no sense.
        """
        return self._source.confirm(setup)

    def readings(self, stop: Stop) -> Iterator[Reading]:
        """Yield readings as they come, through every loss, until ``stop``.

        Raises:
            MeterError: what answers makes no sense as a meter.
        """
        while not stop.is_set() and not self._closed.is_set():
            try:
                for reading in self._source.readings(stop):
                    # Not even a source that went wrong may set time back.
                    if self._last_t is None or reading.t > self._last_t:
                        self._last_t = reading.t
                        yield reading
            except (PortLostError, MeterSilentError) as fault:
                if self._closed.is_set():
                    return
                self._wait_for_it(str(fault), stop)
            else:
                return

    def close(self) -> None:
        """Close what is open. Safe to call twice."""
        self._closed.set()
        self._source.close()

    def _wait_for_it(self, why: str, stop: Stop) -> None:
        """Come back when the meter is read again, or ``stop`` is set."""
        since = self._last_t if self._last_t is not None else self._clock.now()
        with self._setting:
            self._away = True
        self._source.close()
        self._tell(Gap(t=since, until=None, why=why))
        while not self._closed.is_set() and not self._is_back():
            if stop.wait(self._retry_s):
                return
        self._tell(Gap(t=since, until=self._clock.now(), why=why))

    def _is_back(self) -> bool:
        try:
            source = self._reopen()
        except MeterError:
            return False
        with self._setting:
            try:
                if not _same(source.identity, self._source.identity):
                    source.close()
                    return False
                setting = None if self._setup is None else source.prepare(self._setup)
            except MeterError:
                source.close()
                return False
            self._source = source
            self._listen_to(source)
            self._away = False
        if setting is not None:
            self._turned(setting)  # it may have come back on another range, or not the same at all
        if self._closed.is_set():
            source.close()
        return True

    def _listen_to(self, source: Source) -> None:
        """Pass on what a source with a knob says of it; one that is set from here has no say."""
        if isinstance(source, FrameSource):
            source.on_setting = self._turned

    def _turned(self, setting: Setting) -> None:
        if self.on_setting is not None:
            self.on_setting(setting)

    def _tell(self, gap: Gap) -> None:
        if self.on_gap is not None:
            self.on_gap(gap)


def _same(one: Identity, other: Identity) -> bool:
    """Whether both are the same meter; its port and firmware may have changed."""
    return (one.maker, one.model, one.serial) == (other.maker, other.model, other.serial)
