"""What the bench screen does when something is lost, full, silent or wanted too early."""

import asyncio

import pytest

from meterlink.events import Gap
from tests.tui.bench_screen import bench, press, touch, until
from tests.tui.looking import screen_text, settled


async def test_quitting_before_the_end_takes_two_presses():
    async with bench("primary") as (pilot, _session):
        text = await press(pilot, "q")
        assert "Press quit again" in text
        assert pilot.app.is_running
        await pilot.press("q")
        await pilot.pause()
        assert pilot.app.return_value == 0


async def test_quitting_at_the_end_takes_one():
    async with bench("wire-watch") as (pilot, _session):
        for key in ("s", "s", "ctrl+s", "ctrl+s"):
            await press(pilot, key)
        assert "The card is done, not signed off" in screen_text(pilot.app)
        await pilot.press("q")
        await pilot.pause()
        assert pilot.app.return_value == 0


async def test_no_sign_off_before_the_stop_check():
    async with bench("sign-off") as (pilot, session):
        text = await press(pilot, "y", "enter")
        assert "The engine stops" in text
        assert "must be recorded first" in text
        assert session.bench.progress.current == "sign-off"


async def test_a_lost_meter_is_told_with_the_mend_and_the_card_waits():
    async with bench("primary") as (pilot, session):
        session.lose()
        await until(lambda: pilot.app.reader_fault)
        text = await settled(pilot)
        assert "no longer answers; plug it in again; press m to read again" in text
        assert "lost" in text.splitlines()[0]
        assert session.bench.progress.current == "primary"
        await press(pilot, "m")
        await touch(session, 0.97)
        pilot.app._tick()
        text = await settled(pilot)
        assert "within limits" in text
        assert "no longer answers" not in text


async def test_a_gap_is_told_until_the_meter_is_back():
    async with bench("primary") as (pilot, session):
        t = session.t
        gap = Gap(t=t, until=None, why="the port no longer answers; plug the meter in again")
        await asyncio.to_thread(session.happen, [gap])
        await settled(pilot)
        pilot.app._tick()
        text = await settled(pilot)
        assert "plug the meter in again" in text
        assert "lost" in text.splitlines()[0]
        assert "no reading: the meter is away" in text
        back = Gap(t=t, until=t + 5, why=gap.why)
        await asyncio.to_thread(session.happen, [back])
        await settled(pilot)
        pilot.app._tick()
        assert "plug the meter in again" not in await settled(pilot)


async def test_a_full_disk_is_told_as_long_as_it_is_full():
    async with bench() as (pilot, session):
        session.trouble = "log.jsonl cannot be written: no space left; free some, readings wait"
        pilot.app._tick()
        assert "no space left; free some" in await settled(pilot)
        session.trouble = ""
        pilot.app._tick()
        assert "no space left" not in await settled(pilot)


async def test_a_fault_of_the_program_that_reads_reaches_whoever_ran_the_screen():
    async def read():
        async with bench() as (pilot, session):
            session.lose(RuntimeError("[/oops]\x1b[2J"))
            await until(lambda: pilot.app.return_code)

    with pytest.raises(RuntimeError, match="oops"):
        await read()


async def test_a_silent_meter_is_told_in_the_top_line():
    async with bench("primary") as (pilot, session):
        await asyncio.to_thread(session.feed, [None])
        pilot.app._tick()
        assert "no reading" not in screen_text(pilot.app).splitlines()[0]
        pilot.app.pulse._changed_at -= 10
        pilot.app._tick()
        await settled(pilot)
        assert "no reading" in screen_text(pilot.app).splitlines()[0]
