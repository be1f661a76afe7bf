"""Opens whatever is at a port, as a ``Source``, and opens it again whenever it was lost.

A meter unplugged and replugged under whatever name goes on. While it is away no reading comes; what
is missing is told as a ``Gap``. A new connection is a new conversation on the same clock, so no
reading is given twice and time never goes back.
"""

import threading
from collections.abc import Callable, Iterator
from typing import Final

from drivers.clock import Clock, MonotonicClock
from drivers.discovery import SCPI, ask, find_out
from drivers.frames.frame_source import FrameSource, open_wire
from drivers.frames.store import load, user_folder
from drivers.links.link import Link
from drivers.links.transports import Visa, locate, open_link
from drivers.ports import Lister, PortInfo, list_ports
from drivers.scpi.dialect import Dialect, ScpiOptions, find_dialect
from drivers.scpi.meter import ScpiMeter
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


def open_source(
    port: str,
    *,
    wire: str | None = None,
    visa: Visa | None = None,
    clock: Clock | None = None,
    options: ScpiOptions | None = None,
) -> Source:
    """Open the meter at ``port``.

    Args:
        port: VISA resource string, serial device as the system names it, or URL.
        wire: name of a description of frames, ``scpi``, or None to find out.
        visa: go through PyVISA with this backend, whatever the port.
        clock: stamps the readings; its zero is the start of the capture.
        options: how a SCPI meter is read.

    Raises:
        UsageError: ``port`` or ``wire`` makes no sense.
        MeterError: no such port, in use, nothing answers, or not as a meter does.
    """
    clock = clock or MonotonicClock()
    link = open_link(port, visa=visa)
    try:
        return _open(link, wire, clock, options)
    except BaseException:
        link.close()
        raise


def open_lasting(
    port: str,
    *,
    wire: str | None = None,
    visa: Visa | None = None,
    clock: Clock | None = None,
    options: ScpiOptions | None = None,
    on_gap: Callable[[Gap], None] | None = None,
    ports: Lister = list_ports,
    retry_s: float = RETRY_S,
) -> ReconnectingSource:
    """As ``open_source``, and opened again by itself whenever the meter was lost.

    The device is found again by its USB identity under whatever name, or at its old name, and
    taken only where it says that it is the same meter.

    Args:
        on_gap: takes note of what is missing; see ``ReconnectingSource``.
        ports: lists this computer's ports.
        retry_s: pause between two attempts to find the meter again, seconds.
    """
    clock = clock or MonotonicClock()
    before = _info_of(port, ports)
    source = open_source(port, wire=wire, visa=visa, clock=clock, options=options)

    def reopen() -> Source:
        name = _name_now(port, before, ports)
        return open_source(name, wire=wire, visa=visa, clock=clock, options=options)

    return ReconnectingSource(source, reopen, clock, on_gap, retry_s=retry_s)


def _info_of(port: str, ports: Lister) -> PortInfo | None:
    """What the system knows of a serial port; None for every other kind."""
    address = locate(port)
    if address.kind not in ("device", "ASRL INSTR"):
        return None
    device = address.parts.get("device") or address.parts["board"]
    return next((info for info in ports() if info.name == device), None)


def _name_now(port: str, before: PortInfo | None, ports: Lister) -> str:
    """The name under which the device is there now; its old one where nothing better is known."""
    if before is None:
        return port
    same = [info.name for info in ports() if info.same_device(before)]
    return port if not same or before.name in same else same[0]


def _open(link: Link, wire: str | None, clock: Clock, options: ScpiOptions | None) -> Source:
    dialect = None if wire in (None, SCPI) else find_dialect(str(wire), user_folder())
    if dialect is not None:
        if dialect.line is not None:
            link.configure(dialect.line)
        return ScpiMeter.open(link, clock, options, dialect=dialect, named=True)
    if wire not in (None, SCPI):
        return open_wire(link, wire, clock)
    found = ask(link) if wire == SCPI else find_out(link)
    if found.wire == SCPI or (wire == SCPI and not found.heard):
        return ScpiMeter.open(
            link,
            clock,
            options,
            dialect=None if found.end == "\n" else Dialect(end=found.end),
            named=wire == SCPI,
            asks=found.identity is not None,
        )
    if found.sure:
        # The line is as it was found, which need not be the frame format's usual one.
        return FrameSource(link, load(found.wire), clock)
    if found.wire:
        raise MeterError(f"{link.name} {found.says}; name the one that it is with --frames")
    raise MeterError(found.says)
