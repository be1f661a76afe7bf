"""What the promise costs: appending readings to a capture, against csv.writer flushed as often.

Every way hands each reading to the system before the next (a killed program loses none) and
has the medium take what came within 0.2 s (a loss of power loses no more than 0.5 s). The capture
does besides: JSON, a running SHA-256, a mark for each line and a seal every hundred. On a machine
that does other things too, processor time is what to compare; the syncing thread's is in it.

    python tests/benchmarks/captures_appending.py [--readings 200000] [--folder DIR]
"""

import argparse
import csv
import multiprocessing
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from captures.record.records import PROGRAM, Header
from captures.record.writer import RecordWriter
from meterlink.reading import Reading
from tests.benchmarks.peak import peak_mib


def to_capture(path: Path, readings: list[Reading]) -> list[float]:
    """Append to a capture."""
    took = []
    header = Header(started="2026-11-03T09:14:00.000+01:00", program=PROGRAM)
    with RecordWriter.create(path, header) as writer:
        for reading in readings:
            start = time.perf_counter()
            writer.append(reading)
            took.append(time.perf_counter() - start)
    return took


def to_csv(path: Path, readings: list[Reading], *, synced: bool = True) -> list[float]:
    """Write rows, flush each; a thread syncs every 0.2 s."""
    took = []
    done = threading.Event()
    with path.open("w", newline="") as file:

        def sync() -> None:
            while not done.wait(0.2):
                os.fsync(file.fileno())

        thread = threading.Thread(target=sync)
        if synced:
            thread.start()
        rows = csv.writer(file)
        for reading in readings:
            start = time.perf_counter()
            rows.writerow(
                (reading.t, reading.value, "ohm", int(reading.overload), reading.resolution)
            )
            file.flush()
            took.append(time.perf_counter() - start)
        done.set()
        if synced:
            thread.join()
        os.fsync(file.fileno())
    return took


def to_csv_unsynced(path: Path, readings: list[Reading]) -> list[float]:
    """Write rows and flush each; only the end is synced."""
    return to_csv(path, readings, synced=False)


WAYS: dict[str, Callable[[Path, list[Reading]], list[float]]] = {
    "capture": to_capture,
    "csv.writer, flushed and synced": to_csv,
    "csv.writer, flushed": to_csv_unsynced,
}


def made(count: int) -> list[Reading]:
    """Return so many readings."""
    return [Reading(n / 1000, 0.84, resolution=1e-4) for n in range(count)]


def grown(name: str, path: Path, count: int) -> float:
    """Return by how many MiB the peak of this process grew while writing one way."""
    readings = made(count)
    before = peak_mib()
    WAYS[name](path, readings)
    return peak_mib() - before


def main() -> None:
    """Run every way three times in turn, print the best of each."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--readings", type=int, default=200_000)
    arguments.add_argument("--folder", type=Path, help="where to write; default: the system's own")
    args = arguments.parse_args()
    readings = made(args.readings)
    best: dict[str, list[float]] = {}
    used: dict[str, float] = {}
    with tempfile.TemporaryDirectory(dir=args.folder) as folder:
        for number in range(3):
            for name, way in WAYS.items():
                before = time.process_time()
                took = way(Path(folder) / f"{number}-{len(name)}", readings)
                each = (time.process_time() - before) / len(readings)
                used[name] = min(each, used.get(name, each))
                if name not in best or sum(took) < sum(best[name]):
                    best[name] = took
        spawn = multiprocessing.get_context("spawn")
        memory = {}
        for name in WAYS:
            with spawn.Pool(1) as pool:
                path = Path(folder) / f"memory-{len(name)}"
                memory[name] = pool.apply(grown, (name, path, args.readings))
    first = sum(best["csv.writer, flushed and synced"])
    first_used = used["csv.writer, flushed and synced"]
    print(
        f"{'way':<32} {'µs each':>8} {'ratio':>6} {'99.9 %':>8} {'longest ms':>11} "
        f"{'grew MiB':>9} {'µs processor':>13} {'ratio':>6}"
    )
    for name, took in best.items():
        took = sorted(took)
        mean = sum(took) / len(took)
        high = took[int(len(took) * 0.999)]
        print(
            f"{name:<32} {mean * 1e6:8.2f} {sum(took) / first:6.2f} {high * 1e6:8.1f} "
            f"{took[-1] * 1e3:11.2f} {memory[name]:9.1f} "
            f"{used[name] * 1e6:13.2f} {used[name] / first_used:6.2f}"
        )


if __name__ == "__main__":
    main()
