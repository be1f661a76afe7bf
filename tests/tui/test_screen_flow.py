"""The bench screen worked by keys, mouse and probes, over the real bench."""

import asyncio
import re
import time

import msgspec
import pytest
from textual._styles_cache import StylesCache
from textual.app import ScreenStackError
from textual.widgets import Input, OptionList

from meterlink.card import read_card
from meterlink.commands import Back, CallOpen, Confirm, Deny, Enter, How, Redo, Skip, Zero
from meterlink.events import Judged, StepEnded
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.worker import ON_METAL
from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile
from tests.tui.bench_screen import QUIET, bench, press, touch, until
from tests.tui.looking import screen_text, settled
from tui.announcing.forms import Phase
from tui.screen.app import FRAME_S, BenchApp
from tui.screen.body import BenchBody
from tui.screen.own_views import WatchView
from tui.screen.reading import StageView
from tui.screen.sitting import StatusLine


async def test_a_picture_and_a_key_that_come_in_as_the_page_is_taken_down_break_nothing():
    async with bench("lead-zero") as (pilot, _):
        app = pilot.app
        app.exit(0)
        await app.query_one(BenchBody).remove_children()
        app._paint()
        assert app.check_action("tell", ("redo", "key"))


async def test_what_comes_in_once_every_page_is_gone_breaks_nothing():
    async with bench("lead-zero") as (pilot, _):
        app = pilot.app
        app.exit(0)
    assert not app.screen_stack
    app._tick()  # as the thread that reads the meter comes to its end
    app._paint()
    with pytest.raises(ScreenStackError) as gone:
        app.screen.refresh()
    app._handle_exception(gone.value)
    assert app._exception is None


async def test_what_was_painted_is_forgotten_with_its_screen():
    async with bench("lead-zero") as (pilot, _):
        await settled(pilot)
        assert StylesCache.get_inner_outer.cache_info().currsize
    assert not StylesCache.get_inner_outer.cache_info().currsize


async def test_a_picture_due_at_once_is_painted_however_late_the_screen_comes_to_it():
    async with bench("lead-zero") as (pilot, _):
        app = pilot.app
        for _ in range(100):  # a wait of microseconds is past before anything can wait for it
            app._painted_at = time.monotonic() - FRAME_S + 3e-6
            app._paint_soon()
            await until(lambda: not app.paint_due)


async def test_cautions_stand_before_anything_and_only_confirm_passes_them():
    async with bench() as (pilot, session):
        # Spaced for the room there is, which the screen knows only after its first picture.
        await until(lambda: "maker's service manual" in screen_text(pilot.app))
        text = screen_text(pilot.app)
        assert "Ignition off, plug lead off" in text
        assert "pacemakers" in text
        assert "maker's service manual" in text
        await press(pilot, "s")
        assert session.bench.progress.current == "cautions"
        assert "skip" not in screen_text(pilot.app).splitlines()[-1]
        await press(pilot, "space")
        assert session.bench.progress.current == "ambient"
        assert "Ignition off" not in screen_text(pilot.app)


async def test_the_card_is_worked_by_the_probes_alone_between_two_answers():
    async with bench("lead-zero") as (pilot, session):
        told = len(session.told)
        await touch(session, 0.132)
        assert "lift the probes" in await settled(pilot)
        await asyncio.to_thread(session.lift)
        await touch(session, 0.97)
        text = await settled(pilot)
        assert "within limits" in text
        assert "lift the probes" in text
        assert "corrected 0.8" in text
        await asyncio.to_thread(session.lift)
        text = await settled(pilot)
        assert session.bench.progress.current == "stop-switch"
        assert "Primary winding: within limits" in text
        assert "b takes it back" in text
        assert len(session.told) == told


async def test_stages_are_seen_in_word_and_picture():
    async with bench("primary") as (pilot, session):
        stage = pilot.app.query_one(StageView)
        assert stage.phase is Phase.OFF
        pictures = {stage.phase: stage.render().plain}
        await asyncio.to_thread(session.feed, [None, 1.4])
        await settled(pilot)
        pictures[stage.phase] = stage.render().plain
        await asyncio.to_thread(session.feed, [1.9, 1.1, 1.6])
        await settled(pilot)
        pictures[stage.phase] = stage.render().plain
        await touch(session, 0.97)
        await settled(pilot)
        pictures[stage.phase] = stage.render().plain
        assert {Phase.OFF, Phase.SETTLING, Phase.LIFT} <= set(pictures)
        assert all(phase.value in picture for phase, picture in pictures.items())
        assert len(set(pictures.values())) == len(pictures)


@pytest.mark.parametrize(
    ("ohms", "words"),
    [
        (0.132 + 0.85, "within limits"),
        (0.132 + 0.5, "below limits"),
        (0.132 + 3.0, "above limits"),
        (20000.0, "open"),
    ],
)
async def test_a_verdict_is_told_in_words(ohms, words):
    async with bench("primary") as (pilot, session):
        await touch(session, ohms, resolution=ohms / 1000)
        await settled(pilot)
        assert pilot.app.query_one(StageView).verdict_words == words
        assert words in screen_text(pilot.app)


async def test_over_range_is_no_open_until_the_technician_says_so():
    async with bench("primary") as (pilot, session):
        await asyncio.to_thread(session.feed, [None] * 30)
        text = await settled(pilot)
        assert "over range" in text
        assert pilot.app.query_one(StageView).verdict_words == ""
        await press(pilot, "space")
        assert not [event for event in session.seen if isinstance(event, Judged)]
        await asyncio.to_thread(session.tell, CallOpen())
        await asyncio.to_thread(session.tell, Enter(text=ON_METAL))
        verdicts = [event for event in session.seen if isinstance(event, Judged)]
        assert verdicts[-1].verdict.value == "open"
        assert verdicts[-1].evidence.value == "said"


@pytest.mark.parametrize(
    ("key", "command"),
    [("space", Confirm), ("r", Redo), ("s", Skip), ("b", Back), ("z", Zero), ("n", Deny)],
)
async def test_every_key_tells_its_command(key, command):
    async with bench("primary", who="Ada") as (pilot, session):
        await press(pilot, key)
        told = session.told[-1]
        assert isinstance(told, command)
        assert told.how is How.KEY
        assert told.who == "Ada"
        assert told.when.startswith("20")


async def test_every_key_is_on_the_screen_and_can_be_clicked():
    async with bench("primary", size=(80, 24)) as (pilot, session):
        foot = screen_text(pilot.app).splitlines()[-1]
        for shown in ("space confirm", "r redo", "s skip", "b back", "z zero", "? help", "q quit"):
            assert shown in foot
        await pilot.click(offset=(foot.index("r redo"), 23))
        await settled(pilot)
        assert isinstance(session.told[-1], Redo)


async def test_back_takes_the_last_step_back():
    async with bench("stop-switch") as (pilot, session):
        await press(pilot, "b")
        assert session.bench.progress.current == "primary"
        assert "Primary winding: in" not in screen_text(pilot.app)


async def test_a_temperature_is_typed_in_the_page_and_keys_come_back_with_escape():
    async with bench(size=(80, 24)) as (pilot, session):
        await press(pilot, "space")
        assert isinstance(pilot.app.focused, Input)
        text = await press(pilot, *"red hot", "enter")
        assert "cannot be read" in text
        assert session.bench.progress.current == "ambient"
        text = await press(pilot, "escape")
        assert "s skip" in text.splitlines()[-1]
        await press(pilot, "s")
        assert session.bench.progress.current == "spark"


async def test_a_choice_is_made_by_arrows_or_by_mouse():
    async with bench("spark") as (pilot, session):
        await press(pilot, "down", "down", "enter")
        assert session.told[-1] == Enter(text="yellow", how=How.CHOSEN, when=session.told[-1].when)
        await press(pilot, "ctrl+b")
        await pilot.click(OptionList, offset=(1, 2))
        await settled(pilot)
        assert session.bench.progress.outcome("spark") == "none"
        text = await settled(pilot)
        assert "Spark seen: none" in text  # the card's own word, not that of a watch
        assert "no dropouts" not in text


@pytest.mark.parametrize(
    ("keys", "outcome"),
    [
        (["y", "enter"], "yes"),
        (["n", "enter"], "no"),
        ([*"YES", "enter"], "yes"),
        ([*"no", "enter"], "no"),
        (["2", "enter"], "no"),
        (["down", "down", "enter"], "no"),
        (["escape", "y"], "yes"),
        (["escape", "n"], "no"),
    ],
)
async def test_yes_and_no_by_key(keys, outcome):
    async with bench("lead-off") as (pilot, session):
        await press(pilot, *keys)
        assert len(session.told) == 1
        assert session.bench.progress.outcome("lead-off") == outcome


async def test_yes_and_no_by_mouse():
    async with bench("lead-off") as (pilot, session):
        await pilot.click(OptionList, offset=(1, 1))
        await settled(pilot)
        assert session.bench.progress.outcome("lead-off") == "no"
        assert isinstance(session.told[-1], Deny)


async def test_a_switch_is_drawn_as_it_is_asked_for():
    async with bench("stop-switch", size=(140, 40)) as (pilot, session):
        text = await settled(pilot)
        assert "[1]" in text
        assert "[2]" in text
        assert "─ ─┐" in text or "── ─┐" in text  # closed: stop
        await touch(session, 0.2)
        text = await settled(pilot)
        assert "Keep the probes on" in text
        assert "lift the probes" not in text
        assert "╱" in text
        await asyncio.to_thread(session.feed, [None] * 20)
        await touch(session, 0.2)
        text = await settled(pilot)
        assert "lift the probes" in text
        await asyncio.to_thread(session.lift)
        assert "Stop switch: passed" in await settled(pilot)


async def test_the_watch_counts_dropouts_with_time_and_depth():
    async with bench("stop-switch") as (pilot, session):
        await press(pilot, "s")
        await touch(session, 0.2)
        await asyncio.to_thread(session.feed, [None, None, None, 0.2, 0.2, 6.0, 0.2])
        text = await settled(pilot)
        assert pilot.app.query_one(WatchView).count == 2
        assert "dropouts" in text
        lines = [line for line in text.splitlines() if re.search(r"\d s +0\.\d\d s ", line)]
        assert len(lines) == 2
        assert "6 Ω" in lines[0]
        assert "over range" in lines[1]


async def test_the_soak_shows_resistance_and_temperature_against_time():
    async with bench("wire-watch", size=(140, 40)) as (pilot, session):
        await press(pilot, "s")
        await touch(session, 0.97)
        await asyncio.to_thread(session.feed, [0.97 + n / 600 for n in range(120)], resolution=1e-3)
        text = await settled(pilot)
        assert "resistance" in text
        assert "winding temperature" in text
        assert "°C in the winding" in text


REPEAT_CARD = b"""
format = 1
id = "twice"
title = "Earth path"
[[step]]
kind = "caution"
id = "cautions"
title = "Cautions"
[[step]]
kind = "repeat-touch"
id = "again"
title = "Earth path twice"
between = ["laminations", "block"]
"""


async def test_a_repeat_touch_shows_both_values_their_difference_and_their_mean():
    session = ActedSession(read_card(REPEAT_CARD, "twice.toml"), profile())
    app = BenchApp(session, title="pump 3", settings=QUIET)
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(pilot)
        await press(pilot, "space")
        await touch(session, 0.842)
        assert "swap the probes" in await settled(pilot)
        await asyncio.to_thread(session.lift)
        await touch(session, 0.9)
        text = await settled(pilot)
        assert "leads swapped" in text
        assert "The two touches differ." in text
        assert re.search(r"difference +58.0 ± \d", text)
        assert re.search(r"mean +0\.871", text)


async def test_help_and_budget_take_the_lower_band_and_never_hide_the_reading():
    async with bench("primary") as (pilot, session):
        assert "Nothing is held yet" in await press(pilot, "u")
        await press(pilot, "u")
        await touch(session, 0.97)
        await settled(pilot)
        text = await press(pilot, "u")
        assert "coverage factor" in text
        assert "lead zero" in text
        assert "████" in text.splitlines()[2]  # the figures still stand
        text = await press(pilot, "question_mark")
        assert "Tap the tips together twice" in text
        assert "within limits" in text
        text = await press(pilot, "escape")
        assert "touch here" in text


async def test_the_job_goes_on_where_it_was():
    session = ActedSession(card(), profile())
    for event in (StepEnded(t=0.0, step="cautions", outcome="acknowledged"),):
        session.bench.progress.apply(event)
    app = BenchApp(session, title="pump 3", settings=QUIET)
    async with app.run_test(size=(80, 24)) as pilot:
        text = await settled(pilot)
        assert "✓ Cautions" in text
        assert app.view.progress.current == "ambient"


async def test_the_status_line_names_job_meter_and_how_many_readings_are_kept():
    async with bench(size=(80, 24)) as (pilot, session):
        await asyncio.to_thread(session.feed, [None] * 7)
        pilot.app._tick()
        await settled(pilot)
        first = screen_text(pilot.app).splitlines()[0]
        assert "pump 3" in first
        assert "bench meter 4021" in first
        assert "7 kept" in first
        assert pilot.app.query_one(StatusLine).readings == 7


async def test_a_value_can_be_typed_where_the_meter_has_no_cable():
    async with bench("primary") as (pilot, session):
        text = await press(pilot, "e")
        assert "such as 0.84 ohm" in text
        await press(pilot, *"0.98 ohm", "enter")
        assert session.bench.progress.outcome("primary") == "in-window"
        text = screen_text(pilot.app)
        assert "touch here" in text
        assert "r redo" in text.splitlines()[-1]
        await press(pilot, "e")
        text = await press(pilot, "escape")
        assert "such as" not in text


async def test_a_meter_check_asks_for_its_resistor_and_then_for_the_probes():
    check = MeterCheckStep(id="meter", title="Meter check")
    whole = card()
    session = ActedSession(
        msgspec.structs.replace(whole, step=(whole.step[0], check, *whole.step[1:])),
        profile(),
        [StepEnded(t=0.0, step="cautions", outcome="acknowledged")],
    )
    app = BenchApp(session, title="pump 3", settings=QUIET)
    async with app.run_test(size=(100, 30)) as pilot:
        text = await settled(pilot)
        assert "such as 4.7 kohm 1%" in text
        await press(pilot, *"4.7 kohm 1%", "enter")
        assert "such as 4.7 kohm" not in screen_text(app)
        await touch(session, 4701.0, resolution=1.0)
        assert "lift the probes" in await settled(pilot)
