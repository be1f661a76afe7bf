"""Serves an instrument of ``scpi_variants`` on a socket, pauses and all, and reads it as a user."""

import contextlib
import itertools
import socket
import threading
import time
from collections.abc import Iterator

from drivers.opening import open_source
from meterlink.errors import MeterlinkError
from meterlink.source import MeterSetup
from tests.drivers.scpi_variants import OHMS, Instrument, Variant


@contextlib.contextmanager
def serving(instrument: Instrument) -> Iterator[str]:
    """Serve it; yields the URL."""
    listener = socket.create_server(("127.0.0.1", 0))
    thread = threading.Thread(target=_serve, args=(listener, instrument), daemon=True)
    thread.start()
    try:
        yield f"socket://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        with contextlib.suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join(5)


def _serve(listener: socket.socket, instrument: Instrument) -> None:
    with contextlib.suppress(OSError):
        while True:
            peer, _ = listener.accept()
            with peer, contextlib.suppress(OSError):
                peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                peer.sendall(instrument.variant.greeting)
                while data := peer.recv(4096):
                    for pause, out in instrument.feed(data):
                        time.sleep(pause)
                        peer.sendall(out)


def outcome(variant: Variant) -> str:
    """Read three values, open the probes, read two more; empty where all came right."""
    instrument = Instrument(variant)
    never = threading.Event()
    with serving(instrument) as url:
        try:
            source = open_source(url, wire=variant.wire)
        except MeterlinkError as fault:
            return f"not opened: {fault}"
        try:
            source.prepare(MeterSetup(expected=1000.0))
            readings = source.readings(never)
            first = [next(readings) for _ in range(3)]
            instrument.open = True
            then = list(itertools.islice(readings, 3))
        except MeterlinkError as fault:
            return f"not read: {fault}"
        except StopIteration:
            return "no readings"
        finally:
            source.close()
    wrong = [r.value for r in first if abs(r.value - OHMS) > 0.51]
    if wrong:
        return f"wrong: {wrong[0]:g}"
    if not all(r.overload for r in then[1:]):
        return f"no over range: {then[-1].value:g}"
    return ""
