"""From a reading's arrival to its paint, and what the screen costs.

The program's own session (record on disk, engine, faces) with a source that yields readings at a
given pace; the time runs until the picture that shows the reading, or a newer one, is handed to
the terminal. CPU is that of the whole process, with the screen and without it.

    python tests/benchmarks/screen_paint.py [--seconds 10]
"""

import argparse
import asyncio
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from captures.job.store import JobStore
from drivers.clock import MonotonicClock
from meterlink.events import StepEnded
from meterlink.reading import Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop
from tests.benchmarks.paper import PaperDriver
from tui.screen.app import BenchApp
from tui.screen.body import BenchBody
from tui.session.session import Session
from tui.session.setup import session as sitting_of
from tui.settings import CARDS, PROFILES, ScreenSettings


class PacedSource:
    """Readings at an even pace, each of another value, so that each changes the picture."""

    identity = Identity(model="paced")

    def __init__(self, rate: float, seconds: float) -> None:
        self.rate, self.seconds = rate, seconds
        self.arrived: list[tuple[float, float]] = []
        """Time of a reading, and when it came on the computer's clock."""

    def prepare(self, setup: MeterSetup) -> Setting:
        return Setting(quantity=setup.quantity)

    def confirm(self, setup: MeterSetup) -> Setting:
        return self.prepare(setup)

    def readings(self, stop: Stop) -> Iterator[Reading]:
        began = time.perf_counter()
        for n in range(int(self.rate * self.seconds)):
            due = began + n / self.rate
            if (wait := due - time.perf_counter()) > 0 and stop.wait(wait):
                return
            # Jumps about, so that nothing settles and a held value never stands still.
            value = 1.0 + (n * 389 % 997) / 1000
            reading = Reading(t=n / self.rate, value=value, resolution=0.001)
            self.arrived.append((reading.t, time.perf_counter()))
            yield reading

    def close(self) -> None:
        pass


@contextmanager
def sitting(rate: float, seconds: float) -> Iterator[tuple[Session, PacedSource]]:
    """A session on a paced source whose cautions are acknowledged."""
    card, profile = CARDS.get("ignition-check"), PROFILES.get("pump-set-demo")
    past = [
        StepEnded(t=0.0, step=step, outcome="skipped")
        for step in ("cautions", "ambient", "lead-zero")
    ]
    source = PacedSource(rate, seconds)
    with (
        tempfile.TemporaryDirectory() as folder,
        JobStore(Path(folder)).create("benchmark") as job,
        sitting_of(job, source, MonotonicClock(), card, profile, past=past) as session,
    ):
        yield session, source


def with_screen(rate: float, seconds: float) -> tuple[list[float], float, float]:
    """Return latencies, CPU share and pictures a second."""
    with sitting(rate, seconds) as (session, source):
        app = BenchApp(session, title="benchmark", settings=ScreenSettings(tones=False))
        app.driver_class = PaperDriver
        painted: list[tuple[float, float]] = []
        shown_t = [-1.0]
        show = BenchBody.show

        def noted(body: BenchBody, view: object) -> None:
            show(body, app.view)
            reading = None if app.view.look is None else app.view.look.reading
            shown_t[0] = -1.0 if reading is None else reading.t

        BenchBody.show = noted  # type: ignore[method-assign]
        PaperDriver.on_write = lambda now: painted.append((shown_t[0], now))

        async def run() -> tuple[float, float]:
            task = asyncio.create_task(app.run_async(size=(100, 30)))
            while not session.readings:
                await asyncio.sleep(0.02)
            cpu, wall = time.process_time(), time.perf_counter()
            while app._reads:
                await asyncio.sleep(0.1)
            spent = time.process_time() - cpu, time.perf_counter() - wall
            app.exit(0)
            await task
            return spent

        cpu, wall = asyncio.run(run())
        BenchBody.show = show  # type: ignore[method-assign]
        PaperDriver.on_write = None
    latencies, at = [], 0
    for t, came in source.arrived:
        while at < len(painted) and painted[at][0] < t:
            at += 1
        if at < len(painted):
            latencies.append(painted[at][1] - came)
    return latencies, cpu / wall, app.frames / wall


def without_screen(rate: float, seconds: float) -> float:
    """Return the CPU share of the same session with no face at all."""
    with sitting(rate, seconds) as (session, _source):
        cpu, wall = time.process_time(), time.perf_counter()
        session.run(threading.Event())
        return (time.process_time() - cpu) / (time.perf_counter() - wall)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=10.0)
    seconds = parser.parse_args().seconds
    heads = ("readings/s", "median", "p99", "pictures/s", "CPU", "no screen")
    print("{:>10} {:>9} {:>9} {:>11} {:>6} {:>10}".format(*heads))
    for rate in (10, 50, 1000):
        latencies, share, pictures = with_screen(rate, seconds)
        latencies.sort()
        median, p99 = latencies[len(latencies) // 2], latencies[int(len(latencies) * 0.99)]
        bare = without_screen(rate, min(seconds, 5.0))
        print(
            f"{rate:>10} {median * 1e3:>6.1f} ms {p99 * 1e3:>6.1f} ms {pictures:>11.1f} "
            f"{share:>6.1%} {bare:>10.1%}"
        )


if __name__ == "__main__":
    main()
