"""How many readings a second the simulated meter gives: physics alone, with SCPI, over a socket.

Each row is measured in one run after the other; the last column is the ratio to a bare loop that
asks the same meter over a plain socket.

    python tests/benchmarks/simulated_meter.py [--readings 5000]
"""

import argparse
import socket
import sys
import threading
import time
from collections.abc import Callable
from itertools import islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.opening import open_source
from drivers.scpi.dialect import ScpiOptions
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.source import MeterSetup

SCENARIO = load_scenario("spring-service")


def physics(count: int, *, flexing: bool = False, touching: bool = True) -> float:
    bench = SimulatedBench(SCENARIO)
    bench.meter.choose_range(10.0)
    if touching:
        bench.hands.place("primary terminal", "laminations")
    if flexing:
        bench.hands.flex(1e9)
    for _ in range(100):
        bench.meter.measure()
    began = time.perf_counter()
    for _ in range(count):
        bench.meter.measure()
    return count / (time.perf_counter() - began)


def over_a_socket(count: int) -> float:
    with SimulatedBench(SCENARIO) as bench:
        bench.hands.place("primary terminal", "laminations")
        with socket.create_connection(("127.0.0.1", bench.tcp_port)) as line:
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            answers = line.makefile("rb")
            line.sendall(b"CONF:RES 10;*OPC?\n")
            answers.readline()
            began = time.perf_counter()
            for _ in range(count):
                line.sendall(b"READ?\n")
                float(answers.readline())
            took = time.perf_counter() - began
            answers.close()
    return count / took


def through_the_driver(count: int, burst: int) -> float:
    with SimulatedBench(SCENARIO) as bench:
        bench.hands.place("primary terminal", "laminations")
        source = open_source(bench.port, clock=bench.clock, options=ScpiOptions(burst=burst))
        try:
            source.prepare(MeterSetup(expected=1.0))
            began = time.perf_counter()
            for _ in islice(source.readings(threading.Event()), count):
                pass
            return count / (time.perf_counter() - began)
        finally:
            source.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--readings", type=int, default=5000)
    count = parser.parse_args().readings
    rows: dict[str, Callable[[], float]] = {
        "bare loop over a socket": lambda: over_a_socket(count),
        "physics: probes in the air": lambda: physics(count, touching=False),
        "physics: on the primary": lambda: physics(count),
        "physics: stop wire being moved": lambda: physics(count, flexing=True),
        "the program's driver": lambda: through_the_driver(count, 1),
        "the program's driver, bursts of 50": lambda: through_the_driver(count, 50),
    }
    print(f"{'':<36}{'readings/s':>12}{'us each':>10}{'ratio':>8}")
    bare = 0.0
    for name, run in rows.items():
        rate = run()
        bare = bare or rate
        print(f"{name:<36}{rate:>12,.0f}{1e6 / rate:>10.1f}{rate / bare:>8.2f}")


if __name__ == "__main__":
    main()
