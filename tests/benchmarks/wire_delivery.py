"""From the last byte of a frame to the reading's delivery, against a bare pyserial read.

One end of a pseudo-terminal writes a frame and notes the time; the other end is read in turn by the
whole source (link, decoder, reading) and by pyserial's own blocking ``read(length)`` with nothing
after it. No USB adapter is in between: that would add its own latency to both alike.
Run: ``python tests/benchmarks/wire_delivery.py``, on a system with pseudo-terminals.
"""

import os
import pty
import sys
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue

import serial

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.clock import MonotonicClock
from drivers.frames.frame_source import open_wire
from drivers.frames.store import load
from drivers.links.transports import open_link

FRAMES = 2000
PAUSE_S = 0.001
WIRES = ("lcd-segments-14", "ascii-digits-11", "bcd-nibbles-8", "scpi-numbers")


def delays(near: int, frame: bytes, take: Callable[[], object]) -> list[float]:
    """Write ``frame`` over and over; return how long each took until ``take`` had it, seconds."""
    arrived: SimpleQueue[float] = SimpleQueue()

    def reader() -> None:
        for _ in range(FRAMES):
            take()
            arrived.put(time.perf_counter())

    thread = threading.Thread(target=reader)
    thread.start()
    found = []
    for _ in range(FRAMES):
        time.sleep(PAUSE_S)
        os.write(near, frame)
        sent = time.perf_counter()
        found.append(arrived.get() - sent)
    thread.join()
    return sorted(found)


def through_source(near: int, device: str, name: str, frame: bytes) -> list[float]:
    source = open_wire(open_link(device), name, MonotonicClock())
    readings = source.readings(threading.Event())
    os.write(near, frame)
    next(readings)  # tables are filled, as they are with any meter after its first frame
    found = delays(near, frame, lambda: next(readings))
    source.close()
    return found


def through_pyserial(near: int, device: str, frame: bytes) -> list[float]:
    with serial.Serial(device, timeout=2) as port:
        return delays(near, frame, lambda: port.read(len(frame)))


def main() -> None:
    print(f"{FRAMES} frames over a pseudo-terminal, microseconds from last byte to delivery")
    print(f"{'wire':<18}{'':>16}{'median':>10}{'p99':>10}")
    for name in WIRES:
        frame = load(name).encoder().frame(123.4)
        near, far = pty.openpty()
        tty.setraw(far)
        device = os.ttyname(far)
        rows = {
            "pyserial alone": through_pyserial(near, device, frame),
            "source": through_source(near, device, name, frame),
        }
        os.close(near)
        os.close(far)
        for row, found in rows.items():
            median, p99 = found[len(found) // 2], found[len(found) * 99 // 100]
            print(f"{name:<18}{row:>16}{median * 1e6:>10.0f}{p99 * 1e6:>10.0f}")
        alone, ours = rows.values()
        median = ours[len(ours) // 2] / alone[len(alone) // 2]
        p99 = ours[len(ours) * 99 // 100] / alone[len(alone) * 99 // 100]
        print(f"{'':<18}{'ratio':>16}{median:>9.2f}x{p99:>9.2f}x")


if __name__ == "__main__":
    main()
