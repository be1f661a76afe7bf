"""Bytes between a simulated meter and whoever connects: a TCP port, and a pseudo-terminal.

One thread serves one line. It sleeps in a select until bytes or the end come; the thread that
ends it writes one byte to a socket pair.
"""

import contextlib
import os
import select
import socket
import sys
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Final

from meterlink.errors import MeterError


def open_raw() -> tuple[int, int, str]:
    """Open one that changes no byte; return our end, the reader's end and its name.

    Raises:
        MeterError: this system has no pseudo-terminals.
    """
    if sys.platform != "win32":
        import pty
        import tty

        near, far = pty.openpty()
        tty.setraw(far)
        os.set_blocking(near, False)
        return near, far, os.ttyname(far)
    else:  # noqa: RET505 - so that each system's checker sees its own branch alone
        raise MeterError("this system has no pseudo-terminals; use a TCP port")


def reader_speed(near: int) -> int | None:
    """Return the speed that the reader has set, baud; None where that cannot be known."""
    speed = None
    if sys.platform != "win32":
        import termios

        code = termios.tcgetattr(near)[5]
        speeds = {
            value: int(name[1:])
            for name, value in vars(termios).items()
            if name[0] == "B" and name[1:].isdigit()
        }
        speed = speeds.get(code)
    return speed


def unread(far: int) -> int:
    """Return how many bytes lie at the reader's end that nobody has read yet."""
    count = 0
    if sys.platform != "win32":
        import fcntl
        import termios

        count = int.from_bytes(fcntl.ioctl(far, termios.FIONREAD, b"\0" * 4), sys.byteorder)
    return count


Talk = Callable[[bytes], bytes | None]
"""Takes what came in, returns what goes out; None to drop the line."""

_AT_ONCE: Final = 65536


class _Server(ABC):
    """A thread that serves a line until it is closed."""

    def __init__(self, talk: Talk, hung_up: Callable[[], None], name: str) -> None:
        self._talk = talk
        self._hung_up = hung_up
        self._wake, self._woken = socket.socketpair()
        self._thread = threading.Thread(target=self._serve, name=name, daemon=True)

    def _start(self) -> None:
        self._thread.start()

    @abstractmethod
    def _serve(self) -> None:
        """Talk until the end of all."""

    def _send(self, line: int, write: Callable[[bytes], int], data: bytes) -> bool:
        """Send all of ``data`` as fast as the peer takes it; False where the end of all came."""
        while data:
            ready, _, _ = select.select([self._woken.fileno()], [line], [])
            if ready:
                return False
            with contextlib.suppress(BlockingIOError):
                data = data[write(data) :]
        return True

    def close(self) -> None:
        """End the thread and free the line. Safe to call twice."""
        if self._wake.fileno() >= 0:
            self._wake.send(b"x")
            self._thread.join()
            self._wake.close()
            self._woken.close()


class TcpServer(_Server):
    """Serves one connection after another on a loopback port."""

    def __init__(self, talk: Talk, hung_up: Callable[[], None], port: int = 0) -> None:
        """Listen on ``port`` of this computer alone; 0 takes any free one.

        Raises:
            MeterError: the port is taken.
        """
        super().__init__(talk, hung_up, "simulated-tcp")
        self._listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            self._listener.bind(("127.0.0.1", port))
            self._listener.listen()
        except OSError as fault:
            self._listener.close()
            self._wake.close()
            self._woken.close()
            raise MeterError(
                f"port {port} of this computer is taken ({fault.strerror}); choose another, or 0"
            ) from fault
        self.port: Final[int] = self._listener.getsockname()[1]
        self._start()

    def _serve(self) -> None:
        with self._listener:
            while True:
                ready, _, _ = select.select([self._woken, self._listener], [], [])
                if self._woken in ready:
                    return
                peer, _ = self._listener.accept()
                with peer:
                    peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    peer.setblocking(False)
                    if not self._converse(peer):
                        return
                    self._hung_up()

    def _converse(self, peer: socket.socket) -> bool:
        """Serve one connection to its end; False where the end of all came first."""
        while True:
            ready, _, _ = select.select([self._woken, peer], [], [])
            if self._woken in ready:
                return False
            try:
                data = peer.recv(_AT_ONCE)
                answer = self._talk(data) if data else None
                if answer is None:
                    return True
                if not self._send(peer.fileno(), peer.send, answer):
                    return False
            except OSError:
                return True  # the peer is gone; another may come


class PtyServer(_Server):
    """Serves a pseudo-terminal, which looks like a serial device; not on every system."""

    def __init__(self, talk: Talk, hung_up: Callable[[], None]) -> None:
        """Open one.

        Raises:
            MeterError: this system has no pseudo-terminals.
        """
        # Our own hold on the far end keeps the line up while nobody has it open.
        self._near, self._far, device = open_raw()
        self.device: Final[str] = device
        super().__init__(talk, hung_up, "simulated-pty")
        self._start()

    def _serve(self) -> None:
        while True:
            ready, _, _ = select.select([self._woken.fileno(), self._near], [], [])
            if self._woken.fileno() in ready:
                return
            try:
                answer = self._talk(os.read(self._near, _AT_ONCE))
                if answer is None:
                    self._hung_up()
                    continue
                if not self._send(self._near, lambda data: os.write(self._near, data), answer):
                    return
            except OSError:
                return

    def close(self) -> None:
        """End the thread and free the device. Safe to call twice."""
        if self._wake.fileno() >= 0:
            super().close()
            for end in (self._near, self._far):
                with contextlib.suppress(OSError):
                    os.close(end)
