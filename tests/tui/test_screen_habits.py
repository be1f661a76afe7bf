"""What technicians set to their liking: keys, pedal, palette, themes, tones, taps, speech."""

import asyncio

from textual.widgets import OptionList

from meterlink.commands import How, Redo, Skip
from tests.tui.bench_screen import bench, press, touch, until
from tests.tui.looking import screen_text, settled
from tui.settings import ScreenSettings


async def test_a_key_can_be_bound_to_another_and_a_pedal_beside_it():
    settings = ScreenSettings(tones=False, keys={"redo": "f5"}, pedal={"confirm": "f13"})
    async with bench(size=(80, 24), settings=settings) as (pilot, session):
        await press(pilot, "f13")
        assert session.told[-1].how is How.PEDAL
        assert session.bench.progress.current == "ambient"
        await press(pilot, "escape")
        assert "f5 redo" in screen_text(pilot.app).splitlines()[-1]
        await press(pilot, "r")
        assert not isinstance(session.told[-1], Redo)
        await press(pilot, "f5")
        assert isinstance(session.told[-1], Redo)


async def test_a_pedal_is_taught_by_pressing_it_and_kept():
    kept = []
    async with bench("primary", keep=kept.append) as (pilot, session):
        pilot.app.action_teach("skip")
        text = await settled(pilot)
        assert "Press the pedal" in text
        told = len(session.told)
        text = await press(pilot, "b")  # a key that means something else at other times
        assert len(session.told) == told
        assert "now means skip" in text
        assert kept[-1].pedal == {"skip": "b"}
        await press(pilot, "b")
        assert isinstance(session.told[-1], Skip)
        assert session.told[-1].how is How.PEDAL


async def test_a_pedal_can_be_taught_while_the_cautions_stand_and_then_acknowledges_them():
    async with bench() as (pilot, session):
        pilot.app.action_teach("confirm")
        await settled(pilot)
        pilot.app._paint()  # readings come in meanwhile
        assert "Press the pedal" in await settled(pilot)
        assert "now means confirm" in await press(pilot, "f5")
        await press(pilot, "f5")
        assert session.bench.progress.outcome("cautions") == "acknowledged"


async def test_teaching_can_be_left():
    kept = []
    async with bench(keep=kept.append) as (pilot, _session):
        pilot.app.action_teach("redo")
        await settled(pilot)
        text = await press(pilot, "escape")
        assert "Press the pedal" not in text
        assert kept == []


async def test_the_palette_has_the_benchs_own_commands_and_runs_them():
    async with bench("primary") as (pilot, session):
        titles = {command.title for command in pilot.app.get_system_commands(pilot.app.screen)}
        assert {"Confirm", "Redo", "Skip", "Back", "Zero", "Help", "Quit", "Pedal: redo"} <= titles
        assert not titles & {"Maximize", "Screenshot", "Keys"}
        await pilot.press("ctrl+p")
        await pilot.pause()
        await pilot.press(*"skip")
        await until(lambda: pilot.app.screen.query(OptionList).last().option_count == 2)
        await pilot.press("enter")
        await until(lambda: any(isinstance(told, Skip) for told in session.told))


async def test_themes_go_round_and_are_kept():
    kept = []
    async with bench(keep=kept.append) as (pilot, _):
        assert pilot.app.theme == "bench-dark"
        for name in ("bench-light", "bench-plain", "bench-dark"):
            await press(pilot, "f9")
            assert pilot.app.theme == name
            assert kept[-1].theme == name


async def test_tones_ring_for_what_was_judged_and_can_be_switched_off(monkeypatch):
    rung = []
    async with bench("primary", settings=ScreenSettings()) as (pilot, session):
        monkeypatch.setattr(pilot.app, "bell", lambda: rung.append(session.t))
        await touch(session, 0.97)
        await settled(pilot)
        await until(lambda: rung)
        text = await press(pilot, "f7")
        assert "Tones are off" in text
        await asyncio.sleep(0.1)
        rung.clear()
        await asyncio.to_thread(session.lift)
        await settled(pilot)
        await press(pilot, "b")
        await touch(session, 0.97)
        await settled(pilot)
        await asyncio.sleep(0.2)
        assert rung == []


async def test_taps_of_the_probes_can_be_switched_off_and_that_is_kept():
    kept = []
    async with bench("primary", keep=kept.append) as (pilot, session):
        assert "taps do not" in await press(pilot, "f6")
        assert not session.bench.gestures
        assert not kept[-1].gestures
        assert "Taps of the probes count" in await press(pilot, "f6")
        assert session.bench.gestures


async def test_speech_without_a_program_says_what_is_missing(monkeypatch):
    monkeypatch.setattr("tui.screen.preferences.find_program", lambda: None)
    async with bench() as (pilot, _):
        assert "no speech program" in await press(pilot, "f8")
