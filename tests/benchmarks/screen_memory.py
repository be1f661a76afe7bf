"""Memory of the screen over a simulated day at 50 readings a second, touch after touch.

Every look goes through the view as in the program (25 a second: the session shows no more), a
touch with its verdict every twelve seconds; the whole page is painted every 20 simulated seconds.

    python tests/benchmarks/screen_memory.py [--hours 24]
"""

import argparse
import asyncio
import gc
import sys
from math import inf
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).parents[2]))

from msgspec.structs import replace

from meterlink.events import (
    Contact,
    Held,
    Judged,
    Lift,
    StepBegan,
    StepEnded,
    StepReopened,
    Verdict,
)
from meterlink.hold.contact import Stage
from meterlink.reading import Reading
from meterlink.steps.watch import Dropout
from tests.tui.acting import ActedSession
from tui.screen.app import BenchApp
from tui.settings import CARDS, PROFILES, ScreenSettings

LOOKS = 25
TOUCH_S = 12


def events(t: float, second: int) -> list[object]:
    """Return what happens in this second of a touch."""
    step = "primary"
    if second == 2:
        return [Contact(t=t)]
    if second == 4:
        return [
            Held(t=t, contact_t=t - 2, value=0.97, readings=40, noise=0.001, resolution=0.001,
                 u=0.0002, dof=39.0),
            Judged(t=t, step=step, contact_t=t - 2, value=0.97, corrected=0.84, u=0.01,
                   verdict=Verdict.IN_WINDOW, probability=0.99, clear=True),
            Dropout(t=t, step=step, lasted_s=0.1, depth=None),
        ]  # fmt: skip
    if second == 8:
        return [
            Lift(t=t, contact_t=t - 6, held=True),
            StepEnded(t=t, step=step, outcome="in-window"),
            StepReopened(t=t, step=step),
            StepBegan(t=t, step=step),
        ]
    return []


async def day(hours: float) -> None:
    """Print memory at every simulated hour."""
    session = ActedSession(CARDS.get("ignition-check"), PROFILES.get("pump-set-demo"))
    app = BenchApp(session, title="benchmark", settings=ScreenSettings(tones=False))
    process = psutil.Process()
    async with app.run_test(size=(100, 30)) as pilot:
        await pilot.pause()
        app.view.take(StepEnded(t=0.0, step="cautions", outcome="acknowledged"))
        app.view.take(StepBegan(t=0.0, step="primary"))
        live = session.bench.look()
        first = None
        for second in range(int(hours * 3600)):
            at = second % TOUCH_S
            for event in events(float(second), at):
                app.view.take(event)  # type: ignore[arg-type]
            on = 2 <= at < 8
            for n in range(LOOKS):
                t = second + n / LOOKS
                value = 0.97 + n / 1e4 if on else inf
                reading = Reading(t=t, value=value, overload=not on, resolution=0.001)
                stage = (Stage.HELD if at >= 4 else Stage.SETTLING) if on else Stage.APART
                app.view.see(replace(live, stage=stage, reading=reading, corrected=value))
            if second % 20 == 0:
                app._paint()
                await asyncio.sleep(0)
            if second % 3600 == 3599:
                await pilot.pause()
                gc.collect()
                now = process.memory_info().rss
                first = first or now
                hour = (second + 1) // 3600
                print(f"hour {hour:>3}  {now / 2**20:>7.1f} MiB  {now / first:>6.3f} of hour 1")


def main() -> None:
    """Run the day."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=24.0)
    asyncio.run(day(parser.parse_args().hours))


if __name__ == "__main__":
    main()
