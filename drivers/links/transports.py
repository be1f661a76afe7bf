"""Which link opens which kind of port, and the simplest of them: a TCP connection.

A port is what the user typed: a VISA resource string, a serial device as the system names it,
or a URL. PyVISA's parser decides what a resource string is. By default serial ports and raw
sockets are opened by our own links, which keep a half answer and notice a closed peer; the
message protocols are PyVISA's, and so is every resource when the user asks for VISA by name.
"""

import contextlib
import os
import re
import select
import socket
from collections.abc import Callable
from typing import Final, Literal, NamedTuple
from urllib.parse import urlsplit

from drivers.links import port_errors
from drivers.links.link import LineSettings, Link
from meterlink.errors import UsageError
from meterlink.quantities.text import plain

CONNECT_S: Final = 3.0
"""How long a connection may take, seconds."""
_AT_ONCE: Final = 65536


class TcpLink:
    """A ``Link`` over one TCP connection."""

    whole = False

    def __init__(self, name: str, host: str, port: int) -> None:
        """Connect.

        Raises:
            MeterError: nobody answers there.
        """
        self.name = name
        try:
            self._socket = socket.create_connection((host, port), CONNECT_S)
        except (OSError, UnicodeError, OverflowError) as fault:
            known = fault if isinstance(fault, OSError) else OSError(str(fault))
            raise port_errors.cannot_connect(name, known) from fault
        self._socket.settimeout(CONNECT_S)
        # A query is one small packet that must not wait for company.
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def write(self, data: bytes) -> None:
        try:
            self._socket.sendall(data)
        except OSError as fault:
            raise port_errors.lost(self.name) from fault

    def read(self, timeout_s: float) -> bytes:
        try:
            ready, _, _ = select.select([self._socket], [], [], max(0.0, timeout_s))
            if not ready:
                return b""
            data = self._socket.recv(_AT_ONCE)
        except (OSError, ValueError) as fault:  # ValueError: closed under us
            raise port_errors.lost(self.name) from fault
        if not data:
            raise port_errors.lost(self.name)
        return data

    def discard(self) -> None:
        # Once round: a peer that never stops sending must not keep us here.
        self.read(0)

    def configure(self, line: LineSettings) -> None:
        """A socket has no line to set."""

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()


Visa = Literal["py", "system"]
"""PyVISA's backend: the pure-Python one, or the VISA installed on this system."""


class Address(NamedTuple):
    """A port, taken apart."""

    name: str
    """As the user typed it."""
    kind: str
    """``device``, a URL's scheme, or a resource's class such as ``TCPIP SOCKET``."""
    parts: dict[str, str]
    """What the kind needs: ``device``, or the fields of the resource string."""


Opener = Callable[[Address, LineSettings | None], Link]

_OPENERS: Final[dict[str, Opener]] = {}
_WINDOWS: Final = os.name == "nt"
_SCHEME: Final = re.compile(r"([a-z][a-z0-9+.-]*)://")


def opens(kind: str) -> Callable[[Opener], Opener]:
    """Register the function beneath as the one that opens ports of ``kind``."""

    def register(opener: Opener) -> Opener:
        _OPENERS[kind] = opener
        return opener

    return register


def open_link(port: str, *, visa: Visa | None = None, line: LineSettings | None = None) -> Link:
    """Open ``port`` for us alone.

    Args:
        port: VISA resource string, serial device or URL.
        visa: go through PyVISA with this backend, whatever the kind.
        line: settings of a serial line; 9600 baud, 8 data bits, no parity, 1 stop bit if None.

    Raises:
        UsageError: not a port at all.
        MeterError: it cannot be opened; the message says why and what helps.
    """
    address = locate(port)
    if visa is not None:
        return _open_visa(address, line, visa)
    opener = _OPENERS.get(address.kind)
    if opener is None:
        # Resource classes that only VISA knows (GPIB, VXI), and URLs that only pyserial knows.
        opener = _open_serial if "://" in port else _open_visa
    return opener(address, line)


def has_line(port: str) -> bool:
    """Whether ``port`` has a speed and a format to be set: a serial port does, a socket not."""
    return locate(port).kind in ("device", "ASRL INSTR", "rfc2217")


def locate(port: str) -> Address:
    """Take ``port`` apart without opening it.

    Raises:
        UsageError: empty, or a resource string that does not follow the VISA grammar.
    """
    port = port.strip()
    if not port or not port.isprintable():
        raise UsageError("no port is named; “meterlink meters” lists the ports")
    scheme = _SCHEME.match(port)
    if scheme:
        return Address(port, scheme[1], {"device": port})
    if "::" in port or port.upper().startswith("ASRL"):
        return _locate_resource(port)
    return Address(port, "device", {"device": port_errors.device_name(port)})


def _locate_resource(port: str) -> Address:
    from pyvisa.errors import VisaIOError
    from pyvisa.rname import InvalidResourceName, ResourceName

    try:
        resource = ResourceName.from_string(port)
    except (InvalidResourceName, VisaIOError, ValueError) as fault:
        raise UsageError(
            f"{plain(port)} is not a VISA resource string; examples: "
            "TCPIP::192.0.2.10::5025::SOCKET, ASRLCOM3::INSTR, USB::0x1234::0x5678::SERIAL::INSTR"
        ) from fault
    kind = f"{resource.interface_type} {resource.resource_class}"
    parts = {name: str(value) for name, value in vars(resource).items() if value is not None}
    return Address(port, kind, parts)


@opens("device")
def _open_serial(address: Address, line: LineSettings | None) -> Link:
    from drivers.links.serial_link import SerialLink

    return SerialLink(address.name, address.parts["device"], line)


@opens("ASRL INSTR")
def _open_serial_resource(address: Address, line: LineSettings | None) -> Link:
    board = address.parts["board"]
    if board.isdigit():
        if not _WINDOWS:
            # A bare number is VISA's own numbering, which only VISA can resolve.
            return _open_visa(address, line)
        board = f"COM{board}"  # as every VISA numbers them there
    return _open_serial(address._replace(parts={"device": board}), line)


@opens("hid")
def _open_hid(address: Address, _line: LineSettings | None) -> Link:
    from drivers.links.hid_link import HidLink

    return HidLink(address.name)


@opens("socket")
def _open_socket_url(address: Address, _line: LineSettings | None) -> Link:
    try:
        url = urlsplit(address.name)
        host, port = url.hostname, url.port
    except ValueError:
        host, port = None, None
    if not host or port is None:
        raise UsageError(f"{plain(address.name)} is not of the form socket://HOST:PORT")
    return TcpLink(address.name, host, port)


@opens("TCPIP SOCKET")
def _open_socket_resource(address: Address, _line: LineSettings | None) -> Link:
    port = address.parts.get("port", "")
    if not port.isdigit() or not 0 < int(port) < 65536:
        raise UsageError(f"{plain(address.name)} names no port number from 1 to 65535")
    return TcpLink(address.name, address.parts["host_address"], int(port))


def _open_visa(address: Address, line: LineSettings | None, visa: Visa = "py") -> Link:
    from drivers.links.visa_link import VisaLink

    return VisaLink(address.name, _resource_of(address), visa, line)


def _resource_of(address: Address) -> str:
    """The VISA spelling of a port that was not typed as one."""
    if address.kind == "socket":
        url = urlsplit(address.name)
        return f"TCPIP::{url.hostname}::{url.port}::SOCKET"
    if address.kind == "device" or "://" in address.name:
        return f"ASRL{address.name}::INSTR"
    return address.name
