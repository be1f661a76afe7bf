"""A bench screen at some step of a job, for tests that work it by keys, mouse and probes."""

import asyncio
from contextlib import asynccontextmanager

from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile, worked_up_to
from tests.tui.looking import settled
from tui.screen.app import BenchApp
from tui.settings import ScreenSettings

QUIET = ScreenSettings(tones=False)


@asynccontextmanager
async def bench(at="cautions", *, size=(100, 30), settings=QUIET, **more):
    """A screen over a job that stands at the step ``at``."""
    session = ActedSession(card(), profile(), worked_up_to(at))
    app = BenchApp(session, title="pump 3", settings=settings, **more)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        yield pilot, session


async def press(pilot, *keys):
    await pilot.press(*keys)
    return await settled(pilot)


async def until(condition):
    """Wait until ``condition`` holds."""
    for _ in range(1000):
        if condition():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("that never came")


async def touch(session, value, **how):
    await asyncio.to_thread(session.touch, value, **how)
