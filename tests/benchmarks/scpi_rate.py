"""How fast SCPI readings come through the driver, and what that costs.

Two questions, each answered in one run against the simulated meter in a process of its own:

* As fast as the meter can: the driver, and the whole path (driver, capture on disk, engine, job
  log), against a bare loop that sends the same query to the same meter, reads the line, and
  likewise writes CSV.
* A meter that takes over 1,000 readings a second, in bursts: what rate is held, and what share of
  one core the driver takes. Give ``--seconds 60`` for a whole minute.

Run from the project's folder: ``python tests/benchmarks/scpi_rate.py``.
"""

import argparse
import csv
import io
import itertools
import multiprocessing
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import msgspec

from captures.job.store import JobStore
from drivers.clock import MonotonicClock, VirtualClock
from drivers.opening import open_source
from drivers.scpi.dialect import ScpiOptions
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario, scenario_names
from meterlink.source import MeterSetup
from tui.session.setup import session
from tui.settings import CARDS, PROFILES

BURST = 50


def serve(pipe: Connection, paced: bool) -> None:
    """Run the simulated meter until told to end; tell its TCP port first."""
    scenario = load_scenario(scenario_names()[0])
    meter = msgspec.structs.replace(scenario.meter, overhead=0.0002)
    scenario = msgspec.structs.replace(scenario, meter=meter)
    clock = MonotonicClock() if paced else VirtualClock()
    with SimulatedBench(scenario, clock=clock) as bench:
        pipe.send(bench.tcp_port)
        pipe.recv()


@contextmanager
def meter(*, paced: bool) -> Iterator[int]:
    ours, theirs = multiprocessing.Pipe()
    context = multiprocessing.get_context("spawn")
    process = context.Process(target=serve, args=(theirs, paced))
    process.start()
    try:
        yield ours.recv()
    finally:
        ours.send("end")
        process.join()


def bare(port: int, count: int, burst: int) -> None:
    """Send the query, read a line, write it down: nothing else."""
    out = csv.writer(io.StringIO())
    with socket.create_connection(("127.0.0.1", port)) as line:
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        line.sendall(f'FUNC "RES"\nRES:NPLC 0.02\nSAMP:COUN {burst}\n'.encode())
        with line.makefile("rb") as answers:
            for _ in range(count // burst):
                line.sendall(b"READ?\n")
                for text in answers.readline().split(b","):
                    out.writerow([time.perf_counter(), float(text)])


def driven(port: int, count: int, burst: int) -> None:
    """The same through the driver."""
    out = csv.writer(io.StringIO())
    source = open_source(f"socket://127.0.0.1:{port}", options=ScpiOptions(burst=burst, nplc=0.02))
    source.prepare(MeterSetup())
    for reading in itertools.islice(source.readings(threading.Event()), count):
        out.writerow([reading.t, reading.value])
    source.close()


def whole(port: int, count: int, burst: int) -> None:
    """Driver, capture on disk, engine and job log, as ``meterlink bench`` joins them."""
    clock = MonotonicClock()
    source = open_source(
        f"socket://127.0.0.1:{port}", clock=clock, options=ScpiOptions(burst=burst, nplc=0.02)
    )
    stop = threading.Event()
    card, profile = CARDS.get("ignition-check"), PROFILES.get("pump-set-demo")
    with (
        TemporaryDirectory() as folder,
        JobStore(Path(folder)).create("rate") as job,
        session(job, source, clock, card, profile) as sitting,
    ):
        sitting.between = lambda: stop.set() if sitting.readings >= count else None
        sitting.run(stop)
    source.close()


def rate(way: Callable[[int, int, int], None], port: int, count: int, burst: int) -> float:
    began = time.perf_counter()
    way(port, count, burst)
    return count / (time.perf_counter() - began)


def compare(count: int) -> None:
    heads = "".join(f"{head:>12}" for head in ("bare loop", "driver", "ratio", "whole", "ratio"))
    print(f"{'readings a second, as fast as the meter':42}{heads}")
    with meter(paced=False) as port:
        for burst in (1, BURST):
            # Turn about, and the best of each: what else runs on the machine only slows down.
            ways = (bare, driven, whole)
            rates = [[rate(way, port, count, burst) for way in ways] for _ in range(5)]
            one, driver, all_of_it = (max(column) for column in zip(*rates, strict=True))
            name = "one at a time" if burst == 1 else f"in bursts of {burst}"
            print(
                f"{name:42}{one:12,.0f}{driver:12,.0f}{driver / one:12.2f}"
                f"{all_of_it:12,.0f}{all_of_it / one:12.2f}"
            )


def sustain(seconds: float) -> None:
    with meter(paced=True) as port:
        source = open_source(
            f"socket://127.0.0.1:{port}", options=ScpiOptions(burst=BURST, nplc=0.02)
        )
        source.prepare(MeterSetup())
        count, last, longest = 0, 0.0, 0.0
        cpu, began = time.process_time(), time.perf_counter()
        for reading in source.readings(threading.Event()):
            count += 1
            if count > 1:
                longest = max(longest, reading.t - last)
            last = reading.t
            if count % BURST == 0 and time.perf_counter() - began >= seconds:
                break
        took, cpu = time.perf_counter() - began, time.process_time() - cpu
        source.close()
    print(
        f"\nsustained for {took:.0f} s in bursts of {BURST}: {count / took:,.0f} readings a second,"
    )
    print(f"{cpu / took:.1%} of one core, longest step between two readings {longest * 1e3:.1f} ms")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--count", type=int, default=20_000, help="readings for the comparison")
    parser.add_argument("--seconds", type=float, default=10.0, help="length of the sustained run")
    args = parser.parse_args()
    compare(args.count)
    sustain(args.seconds)


if __name__ == "__main__":
    main()
