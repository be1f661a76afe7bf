"""Memory over a simulated hour at 50 readings a second, one card worked after another.

The simulated bench is read through the real driver, by a real session, into a real job, as fast as
it goes. ``plain`` prints as ``bench --plain`` does; ``screen`` paints the real screen without a
terminal. What counts is the growth after the first card.

    python tests/benchmarks/hour_of_memory.py [plain|screen] [--minutes 60] [--what]
"""

import argparse
import asyncio
import contextlib
import gc
import io
import sys
import tempfile
import threading
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).parents[2]))

from msgspec.structs import replace

from captures.job.job import JobWriter
from captures.job.store import JobStore
from drivers.opening import open_source
from drivers.scpi.dialect import ScpiOptions
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from tui.announcing.teller import Teller
from tui.plain.plain_face import PlainFace
from tui.session.hands import connect_hands
from tui.session.session import Session
from tui.session.setup import session
from tui.settings import CARDS, PROFILES

NPLC = 1.0
"""Power line cycles a reading: 50 readings a second on 50 Hz."""


@contextlib.contextmanager
def card_at_work(job: JobWriter, seed: int) -> Iterator[tuple[Session, SimulatedBench]]:
    """Yield a session over the card, with simulated hands that work it."""
    scenario = load_scenario("spring-service")
    scenario = replace(scenario, meter=replace(scenario.meter, nplc=NPLC))
    card, profile = CARDS.get(scenario.card), PROFILES.get(scenario.profile)
    with SimulatedBench(scenario, seed=seed) as bench:
        source = open_source(bench.port, clock=bench.clock, options=ScpiOptions(nplc=NPLC))
        try:
            with session(job, source, bench.clock, card, profile) as sitting:
                connect_hands(sitting, bench)
                yield sitting, bench
        finally:
            source.close()


def work_plain(sitting: Session) -> None:
    """Work the card to its end, printed to nowhere."""
    with contextlib.redirect_stdout(io.StringIO()):
        face = PlainFace(Teller(sitting.bench.card), trouble=lambda: sitting.trouble)
        sitting.show(face)
        sitting.run(threading.Event())
        face.end(sitting.bench.progress)


def work_on_screen(sitting: Session) -> None:
    """Work the card to its end on the screen, which is painted as often as it wants to be."""
    from tui.screen.app import BenchApp
    from tui.settings import ScreenSettings

    async def shown() -> None:
        app = BenchApp(sitting, title="an hour", settings=ScreenSettings(tones=False))
        async with app.run_test(size=(100, 30)) as pilot:
            while not sitting.bench.progress.ended:
                await pilot.pause(0.05)
            await pilot.pause(0.3)

    asyncio.run(shown())


def main() -> None:
    """Print memory after each card."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("face", choices=("plain", "screen"), nargs="?", default="plain")
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--what", action="store_true", help="name what grew most")
    given = parser.parse_args()
    work = work_plain if given.face == "plain" else work_on_screen
    process = psutil.Process()
    minutes, first, readings, before = 0.0, 0.0, 0, None
    with tempfile.TemporaryDirectory() as folder:
        seed = 0
        while minutes < given.minutes:
            seed += 1
            with (
                JobStore(Path(folder)).create("an hour") as job,
                card_at_work(job, seed) as (
                    sitting,
                    bench,
                ),
            ):
                work(sitting)
                minutes += bench.clock.now() / 60
                readings += sitting.readings
            del sitting, bench, job
            gc.collect()
            now = process.memory_info().rss / 1e6
            first = first or now
            if seed == 2 and given.what:
                tracemalloc.start(12)
                before = tracemalloc.take_snapshot()
            if seed % 5 == 1:
                print(f"card {seed:3}, {minutes:5.1f} min, {readings:7} readings: {now:6.1f} MB, "
                      f"{now - first:+.2f} MB since the first card", flush=True)  # fmt: skip
    if before is not None:
        for line in tracemalloc.take_snapshot().compare_to(before, "traceback")[:6]:
            print(line, *line.traceback.format()[-8:], sep="\n  ")
    print(f"{given.face}: {now - first:+.2f} MB after {minutes:.0f} simulated minutes")


if __name__ == "__main__":
    main()
