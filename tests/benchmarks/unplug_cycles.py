"""Two hundred times out and in again for each kind of link: what is lost, and what is doubled.

Run ``python tests/benchmarks/unplug_cycles.py``.
"""

import contextlib
import sys
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.clock import MonotonicClock
from drivers.frames.store import load
from drivers.opening import ReconnectingSource, open_source
from drivers.simulated.serve import PtyPort, StreamPort, TcpPort
from meterlink.errors import MeterError
from meterlink.events import Gap
from meterlink.source import Source

CYCLES = 200
READINGS = 5
"""Between two unplugs."""


def cycles(port: StreamPort) -> dict[str, int]:
    """Count right and wrong readings, and gaps."""
    wire = load("bcd-nibbles-8")
    encoder = wire.encoder()
    gaps: list[Gap] = []
    counts = {"right": 0, "wrong": 0, "time back": 0, "gaps": 0}
    stop = threading.Event()
    sent = 0
    lock = threading.Lock()

    def send() -> None:
        nonlocal sent
        while not stop.is_set():
            with lock:
                if port.name:
                    sent += 1
                    with contextlib.suppress(OSError):
                        port.send(encoder.frame(sent % 19000 / 100))
            time.sleep(0.002)

    threading.Thread(target=send, daemon=True).start()
    clock = MonotonicClock()

    def opened() -> Source:
        if not port.name:
            raise MeterError("unplugged")
        return open_source(port.name, wire="bcd-nibbles-8", clock=clock)

    # A pseudo-terminal comes back under another name, which a real port's identity would tell.
    source = ReconnectingSource(opened(), opened, clock, gaps.append, retry_s=0.005)
    readings = source.readings(stop)
    last_t, last = -1.0, -1.0
    for _ in range(CYCLES):
        for _ in range(READINGS):
            reading = next(readings)
            counts["right" if reading.value != last else "wrong"] += 1
            counts["time back"] += reading.t <= last_t
            last_t, last = reading.t, reading.value
        with lock:
            port.unplug()
        time.sleep(0.005)
        with lock:
            port.plug_in(elsewhere=False)
    stop.set()
    source.close()
    counts["gaps"] = sum(gap.until is not None for gap in gaps)
    port.unplug()
    return counts


def main() -> None:
    for kind, port in (("TCP", TcpPort()), ("pseudo-terminal", PtyPort())):
        began = time.monotonic()
        print(f"{kind:<18}{cycles(port)}  {time.monotonic() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
