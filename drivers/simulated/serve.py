"""Ports of this computer that a simulated meter is found at: TCP, and a pseudo-terminal.

A server answers: one thread serves one line, asleep in a select until bytes or the end come. A
stream port sends: it never waits for a reader, as a meter goes on whether anybody listens or not.
"""

import contextlib
import importlib.util
import os
import select
import socket
import sys
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Final, Protocol

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


_FORSAKEN_S: Final = 2.0
"""A reader that takes nothing of what lies there for so long is gone."""


class StreamPort(Protocol):
    """The meter's end of a line that can be unplugged."""

    @property
    def name(self) -> str:
        """The port as a reader types it after ``--port``; empty while unplugged."""
        ...

    @property
    def reader_baud(self) -> int | None:
        """The speed that the reader has set; None where that cannot be known."""
        ...

    def has_reader(self) -> bool:
        """Whether somebody reads, as far as can be known."""
        ...

    def send(self, data: bytes) -> None:
        """Send; what nobody takes is lost."""
        ...

    def receive(self, timeout_s: float) -> bytes:
        """Return what the reader has sent, waiting up to ``timeout_s`` for it."""
        ...

    def unplug(self) -> None:
        """Pull the plug."""
        ...

    def plug_in(self, *, elsewhere: bool) -> None:
        """Be there again; under another name if ``elsewhere``."""
        ...


def has_ptys() -> bool:
    """Say whether this system has pseudo-terminals."""
    return importlib.util.find_spec("termios") is not None


class PtyPort:
    """A pseudo-terminal, which a reader opens like any serial port."""

    def __init__(self) -> None:
        """Open one.

        Raises:
            MeterError: this system has no pseudo-terminals.
        """
        self.name = ""
        self._near = self._far = -1
        self._untaken = 0
        """Bytes that lay at the far end when last looked at."""
        self._read = False
        self._taken_at = 0.0
        self.plug_in(elsewhere=False)

    def plug_in(self, *, elsewhere: bool) -> None:
        # The system gives out the lowest free number: hold the one just freed to get another.
        held = open_raw()[:2] if elsewhere else ()
        self._near, self._far, self.name = open_raw()
        for descriptor in held:
            os.close(descriptor)
        self._untaken, self._read = 0, False

    def has_reader(self) -> bool:
        """Nobody is told of who opens the far end; but what a reader has taken lies there no more.

        True from when bytes were taken until some have lain there for a while.
        """
        if self._far < 0:
            return False
        before, self._untaken = self._untaken, unread(self._far)
        if self._untaken < before:
            self._read = True
        if self._untaken < before or not self._untaken:
            self._taken_at = time.monotonic()
        elif time.monotonic() - self._taken_at > _FORSAKEN_S:
            self._read = False
        return self._read

    @property
    def reader_baud(self) -> int | None:
        return reader_speed(self._near)

    def send(self, data: bytes) -> None:
        with contextlib.suppress(BlockingIOError):
            while data:
                data = data[os.write(self._near, data) :]

    def receive(self, timeout_s: float) -> bytes:
        ready, _, _ = select.select([self._near], [], [], timeout_s)
        return os.read(self._near, 4096) if ready else b""

    def unplug(self) -> None:
        for descriptor in (self._near, self._far):
            with contextlib.suppress(OSError):
                os.close(descriptor)
        self.name = ""
        self._near = self._far = -1


class TcpPort:
    """A TCP port of this computer alone; one reader at a time, a new one takes over."""

    reader_baud = None

    def __init__(self, port: int = 0) -> None:
        """Listen on ``port``; 0 takes any free one.

        Raises:
            MeterError: the port is taken.
        """
        self.name = ""
        self._wanted = port
        self._peer: socket.socket | None = None
        self._listener: socket.socket | None = None
        self.plug_in(elsewhere=False)

    def plug_in(self, *, elsewhere: bool) -> None:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":  # elsewhere this would let two programs have the port at once
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", 0 if elsewhere else self._wanted))
            listener.listen(1)
        except OSError as fault:
            listener.close()
            raise MeterError(
                f"port {self._wanted} of this computer is taken; choose another, or 0"
            ) from fault
        listener.setblocking(False)
        self._listener = listener
        self._wanted = listener.getsockname()[1]
        self.name = f"socket://127.0.0.1:{self._wanted}"

    def has_reader(self) -> bool:
        self._accept(0.0)
        return self._peer is not None

    def send(self, data: bytes) -> None:
        self._accept(0.0)
        if self._peer is None:
            return
        try:
            self._peer.send(data)
        except BlockingIOError:
            pass
        except OSError:
            self._hang_up()

    def receive(self, timeout_s: float) -> bytes:
        self._accept(timeout_s if self._peer is None else 0.0)
        if self._peer is None:
            return b""
        ready, _, _ = select.select([self._peer], [], [], timeout_s)
        if not ready:
            return b""
        try:
            data = self._peer.recv(4096)
        except OSError:
            data = b""
        if not data:
            self._hang_up()
        return data

    def unplug(self) -> None:
        self._hang_up()
        if self._listener is not None:
            self._listener.close()
            self._listener = None
        self.name = ""

    def _accept(self, timeout_s: float) -> None:
        if self._listener is None:
            return
        ready, _, _ = select.select([self._listener], [], [], timeout_s)
        if not ready:
            return
        with contextlib.suppress(OSError):
            peer, _ = self._listener.accept()
            self._hang_up()
            peer.setblocking(False)
            peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._peer = peer

    def _hang_up(self) -> None:
        if self._peer is not None:
            self._peer.close()
            self._peer = None
