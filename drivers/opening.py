"""Opens whatever is at a port, as a ``Source``."""

from collections.abc import Callable
from typing import Final

from drivers.clock import Clock, MonotonicClock
from drivers.links import LineSettings, Link, open_link
from drivers.links.transports import Visa, locate
from drivers.ports import Lister, PortInfo, list_ports
from drivers.reconnect import RETRY_S, ReconnectingSource
from drivers.scpi import ScpiMeter, ScpiOptions
from meterlink.errors import MeterError, PortLostError
from meterlink.events import Gap
from meterlink.source import Source

SCPI: Final = "scpi"
"""The wire's name that means "ask, do not listen"."""

_SPEEDS: Final = (9600, 115200, 19200, 38400, 57600, 4800)
"""Speeds at which a serial meter is asked who it is, the usual ones first, baud."""
_FIRST_S: Final = 1.0
_OTHER_S: Final = 0.4


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
        if wire is not None and wire != SCPI:
            from drivers.wires import open_wire

            return open_wire(link, wire, clock)
        return _open_scpi(link, clock, options)
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


def _open_scpi(link: Link, clock: Clock, options: ScpiOptions | None) -> Source:
    """Ask who is there; on a serial port at one speed after the other."""
    if not _has_speed(link):
        return ScpiMeter.open(link, clock, options)
    faults: list[MeterError] = []
    for baud in _SPEEDS:
        link.configure(LineSettings(baud=baud))
        try:
            return ScpiMeter.open(link, clock, options, timeout_s=_OTHER_S if faults else _FIRST_S)
        except PortLostError:
            raise
        except MeterError as fault:
            faults.append(fault)
    raise faults[0]


def _has_speed(link: Link) -> bool:
    """Whether the line may run at several speeds: a serial port does, a socket does not."""
    return locate(link.name).kind in ("device", "ASRL INSTR", "rfc2217")
