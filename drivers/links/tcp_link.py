"""A meter behind a TCP port: raw SCPI socket, terminal server, simulated meter.

Plain sockets rather than a serial library's socket port, which hands out single bytes, waits
0.3 s in each close and leaks the socket where the peer was faster to close.
"""

import contextlib
import select
import socket
from typing import Final

from drivers.links import port_errors
from drivers.links.link import LineSettings

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
