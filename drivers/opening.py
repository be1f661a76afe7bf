"""Opens whatever is at a port, as a ``Source``."""

from collections.abc import Callable

from drivers.clock import Clock, MonotonicClock
from drivers.discovery import SCPI, ask, find_out
from drivers.frames.frame_source import FrameSource, open_wire
from drivers.frames.store import load, user_folder
from drivers.links.link import Link
from drivers.links.transports import Visa, locate, open_link
from drivers.ports import Lister, PortInfo, list_ports
from drivers.reconnect import RETRY_S, ReconnectingSource
from drivers.scpi.dialect import Dialect, ScpiOptions
from drivers.scpi.meter import ScpiMeter
from drivers.scpi.store import find_dialect
from meterlink.errors import MeterError
from meterlink.events import Gap
from meterlink.source import Source


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
        wire: name of a wire description, ``scpi``, or None to find out.
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
        # The line is as it was found, which need not be the wire's usual one.
        return FrameSource(link, load(found.wire), clock)
    if found.wire:
        raise MeterError(f"{link.name} {found.says}; name the one that it is with --wire")
    raise MeterError(found.says)
