"""Peers that speak SCPI over real sockets and pseudo-terminals, as much of it as a test wants."""

import contextlib
import os
import select
import socket
import threading
from collections.abc import Callable, Iterator

Answer = bytes | None
"""What to send back to one line; None says nothing, which is not the same as an empty answer."""


class KnownCommands:
    """An instrument that knows some commands and refuses the rest with -113 in its queue."""

    def __init__(
        self,
        *,
        answers: dict[str, str] | None = None,
        settings: dict[str, str] | None = None,
        selects: tuple[str, ...] = (),
        has_queue: bool = True,
    ) -> None:
        self.answers = {"*IDN?": "Invented,Bench,1234,1.0", **(answers or {})}
        self.settings = dict(settings or {})
        """Header to value: both ``HEADER value`` and ``HEADER?`` are known."""
        self.selects = selects
        """Whole commands without an answer."""
        self.has_queue = has_queue
        self.queue: list[str] = []
        self.heard: list[str] = []
        self.refuses: dict[str, str] = {}
        """Header to the entry that setting it puts into the queue."""

    def __call__(self, line: bytes) -> Answer:
        command = line.decode("ascii", "replace").strip()
        self.heard.append(command)
        answer = self.answer(command)
        return None if answer is None else answer.encode("ascii") + b"\n"

    def answer(self, command: str) -> str | None:
        header, _, value = command.partition(" ")
        if command == "*CLS":
            self.queue.clear()
        elif command == "SYST:ERR?" and self.has_queue:
            return self.queue.pop(0) if self.queue else '0,"No error"'
        elif command in self.answers:
            return self.answers[command]
        elif header in self.refuses and value:
            self.queue.append(self.refuses[header])
        elif header.endswith("?") and header[:-1] in self.settings:
            return self.settings[header[:-1]]
        elif header in self.settings and value:
            self.settings[header] = value
        elif command not in self.selects:
            self.queue.append('-113,"Undefined header"')
        return None


def bench_meter(**answers: str) -> KnownCommands:
    """An instrument that knows all that the driver asks for."""
    return KnownCommands(
        answers={"READ?": "+1.00000000E+03", **answers},
        settings={
            "FUNC": '"VOLT:DC"',
            "RES:RANG": "1.000000E+06",
            "RES:RANG:AUTO": "1",
            "RES:NPLC": "10",
            "RES:RES": "1.0E-03",
            "FRES:RANG": "1.0E+03",
            "FRES:RANG:AUTO": "0",
            "FRES:NPLC": "10",
            "FRES:RES": "1.0E-03",
            "TRIG:SOUR": "EXT",
            "SAMP:COUN": "7",
            "SYST:LFR": "60",
        },
        selects=("SYST:LOC", "SYST:REM"),
    )


class TcpPeer:
    """Serves one connection after the other on a loopback port."""

    def __init__(self, handle: Callable[[bytes], Answer], greet: bytes = b"") -> None:
        self._handle = handle
        self._greet = greet
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._wake_read, self._wake_write = socket.socketpair()
        self.connections = 0
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    @property
    def url(self) -> str:
        return f"socket://127.0.0.1:{self.port}"

    def drop(self) -> None:
        """Close the connection that is open, as a plug that slips."""
        self._wake_write.send(b"x")

    def close(self) -> None:
        self._wake_write.send(b"q")
        self._thread.join(5)
        self._listener.close()
        self._wake_read.close()
        self._wake_write.close()

    def _serve(self) -> None:
        while True:
            ready, _, _ = select.select([self._listener, self._wake_read], [], [])
            if self._wake_read in ready:
                if self._wake_read.recv(1) == b"q":
                    return
                continue
            connection, _ = self._listener.accept()
            self.connections += 1
            with connection:
                if not self._talk(connection):
                    return

    def _talk(self, connection: socket.socket) -> bool:
        rest = b""
        with contextlib.suppress(OSError):
            if self._greet:
                connection.sendall(self._greet)
            while True:
                ready, _, _ = select.select([connection, self._wake_read], [], [])
                if connection not in ready:  # what was sent before the end is still heard
                    return self._wake_read.recv(1) != b"q"
                data = connection.recv(4096)
                if not data:
                    return True
                *lines, rest = (rest + data).split(b"\n")
                for line in lines:
                    answer = self._handle(line)
                    if answer is not None:
                        connection.sendall(answer)
        return True


class PtyPeer:
    """Serves a pseudo-terminal; only where the system has them."""

    def __init__(self, handle: Callable[[bytes], Answer]) -> None:
        import tty

        self._handle = handle
        self._ours, theirs = os.openpty()
        tty.setraw(theirs)
        self.device = os.ttyname(theirs)
        self.far_end = theirs
        self._wake_read, self._wake_write = os.pipe()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def unplug(self) -> None:
        """Take the device away under whoever has it open."""
        os.write(self._wake_write, b"q")
        self._thread.join(5)
        for descriptor in (self._ours, self.far_end, self._wake_read, self._wake_write):
            os.close(descriptor)

    def _serve(self) -> None:
        rest = b""
        while True:
            ready, _, _ = select.select([self._ours, self._wake_read], [], [])
            if self._wake_read in ready:
                return
            *lines, rest = (rest + os.read(self._ours, 4096)).split(b"\n")
            for line in lines:
                answer = self._handle(line)
                if answer is not None:
                    os.write(self._ours, answer)


@contextlib.contextmanager
def tcp_peer(handle: Callable[[bytes], Answer], greet: bytes = b"") -> Iterator[TcpPeer]:
    peer = TcpPeer(handle, greet)
    try:
        yield peer
    finally:
        peer.close()
