"""A record on the bench screen: paused, stepped, jumped about in, its verdicts hidden."""

import asyncio
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from math import inf
from pathlib import Path

import msgspec
import pytest
from textual.pilot import Pilot

from captures.training.catalogue import Made
from captures.training.notes import TraineeAnswer
from drivers.clock import MonotonicClock
from meterlink.quantities.notation import format_value
from tests.tui.looking import screen_text
from tui.commands.library import make_capture
from tui.replay.pacing import Pacing
from tui.replay.player import ReplayPlayer
from tui.replay.screen import ReplayApp
from tui.screen.plotting import LookPlot, TraceView

LONGEST_S = 10.0


@pytest.fixture(scope="module")
def capture(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("made") / "quay.jsonl"
    make_capture(Made(scenario="open-primary", seed=1, nplc=3), path)
    path.with_name("quay.notes.toml").write_text(
        'format = 1\nby = "Ines"\n[[note]]\nstep = "lead-zero"\nsay = "Metal to [b]metal[/b]."\n',
        encoding="utf-8",
    )
    return path


class SlowClock(MonotonicClock):
    """A fifth of the computer's time, for keys that must come before the record goes on."""

    def now(self) -> float:
        return super().now() / 5


@pytest.fixture
def player_at(capture) -> Iterator[Callable[..., ReplayPlayer]]:
    with ExitStack() as stack:

        def make(pacing: Pacing, clock: type[MonotonicClock] = MonotonicClock) -> ReplayPlayer:
            player = ReplayPlayer(capture, clock(), pacing)
            stack.callback(lambda: player.close())
            return player

        yield make


async def until(pilot: Pilot[int], there: Callable[[str], bool]) -> str:
    """Wait until the screen shows it; return the screen as text."""
    deadline = asyncio.get_running_loop().time() + LONGEST_S
    while True:
        await pilot.pause()
        text = screen_text(pilot.app)
        if there(text):
            return text
        assert asyncio.get_running_loop().time() < deadline, text
        await asyncio.sleep(0.02)


def limits_beside(trace: TraceView) -> set[str]:
    """Return what stands to the left of the plot, as the screen shows it."""
    x, y, _, height = trace.region
    rows = screen_text(trace.app).splitlines()[y : y + height]
    plot = trace.query_one(LookPlot)
    return {row[x : x + plot.margin_left].strip(" │┤─┼") for row in rows} - {""}


async def test_a_record_is_played_to_its_end_on_the_page_of_the_bench(player_at):
    app = ReplayApp(player_at(Pacing(inf)), title="quay")
    async with app.run_test(size=(100, 32)) as pilot:
        # The bar is painted at a beat of its own: the page may come to the end after it.
        text = await until(pilot, lambda text: "the record ends here" in text and "✓ Sec" in text)
        assert "✗ Primary winding" in text
        assert "✓ Secondary winding" in text
        assert "✎ Ines: Metal to [b]metal[/b]." in text  # words, never markup
        assert app.return_code is None
        await pilot.press("q")
    assert app.return_value == 0


@pytest.mark.parametrize("size", [(80, 25), (100, 31)])  # the note takes one row of the usual
async def test_the_drawing_has_room_and_nothing_offers_to_take_a_record_back(player_at, size):
    player = player_at(Pacing(1.0, paused=True))
    app = ReplayApp(player, title="quay")
    async with app.run_test(size=size) as pilot:
        for touch in (1, 2):
            await pilot.press("n")
            text = await until(pilot, lambda text, touch=touch: f"touch {touch}" in text)
        text = await until(pilot, lambda text: "block ░" in text)
        assert "[1]" in text
        assert "takes it back" not in text
        assert "u sure? q quit" in text  # the whole foot
        await pilot.press(*"fffffffffff", "space")
        text = await until(pilot, lambda text: "The card is done" in text)
        assert "Press q to leave." in text


async def test_paused_it_goes_on_step_by_step(player_at):
    player = player_at(Pacing(1.0, paused=True))
    app = ReplayApp(player, title="quay")
    async with app.run_test(size=(100, 32)) as pilot:
        await until(pilot, lambda text: "‖ paused, 1×, 0.0 s" in text)
        await pilot.press("full_stop")
        text = await until(pilot, lambda text: "Read the cautions" in text)
        assert "‖ paused" in text
        await pilot.press("full_stop")
        await until(pilot, lambda text: "Temperature of the parts" in text)
        assert player.played.replay.t < 3.0
        assert app.focused is None  # the entry in the record asks nobody now


async def test_paused_just_after_a_step_began_the_trace_shows_the_limits_of_that_step(player_at):
    player = player_at(Pacing(1.0, paused=True))
    app = ReplayApp(player, title="quay")
    async with app.run_test(size=(100, 32)) as pilot:
        trace = app.query_one(TraceView)
        for title in ("Lead zero", "Primary winding", "Secondary winding"):
            # Stepped as fast as can be, every other drawing of the trace comes too soon.
            while f"▶ {title}" not in screen_text(app):
                await pilot.press("full_stop")
                await pilot.pause()
            window = app.view.criterion.window
            ends = {format_value(end, "ohm") for end in (window.low, window.high)}
            await until(pilot, lambda _, ends=ends: ends <= limits_beside(trace))


async def test_keys_change_the_pace_and_pause(player_at):
    player = player_at(Pacing(1.0), SlowClock)
    app = ReplayApp(player, title="quay")
    async with app.run_test(size=(100, 32)) as pilot:
        await pilot.press("f", "f", "f")
        await until(pilot, lambda text: "▶ playing, 8×" in text)
        await pilot.press("s")
        await until(pilot, lambda text: "▶ playing, 4×" in text)
        await pilot.press("space")
        await until(pilot, lambda text: "‖ paused, 4×" in text)
        at = player.played.replay.t
        await asyncio.sleep(0.15)
        assert player.played.replay.t == at
        await pilot.press("space")
        await until(pilot, lambda text: "▶ playing" in text and player.played.replay.t > at)


async def test_it_jumps_to_the_next_touch_and_back(player_at):
    player = player_at(Pacing(1.0, paused=True))
    app = ReplayApp(player, title="quay")
    async with app.run_test(size=(100, 32)) as pilot:
        for touch in (1, 2, 3):
            await pilot.press("n")
            await until(pilot, lambda text, touch=touch: f"touch {touch}" in text)
        assert "✓ Lead zero" in screen_text(app)
        for touch in (2, 1):
            await pilot.press("b")
            await until(pilot, lambda text, touch=touch: f"touch {touch}" in text)
        text = await until(pilot, lambda text: "▶ Lead zero" in text)
        assert "✓ Lead zero" not in text  # the page was folded again from the start


async def test_it_goes_back_from_the_end(player_at):
    player = player_at(Pacing(inf))
    app = ReplayApp(player, title="quay")
    async with app.run_test(size=(100, 32)) as pilot:
        await until(pilot, lambda text: "the record ends here" in text)
        player.pause_or_go()
        await pilot.press("b")
        await until(pilot, lambda text: "‖ paused" in text and "✓ Secondary" in text)
        assert not player.finished


async def test_a_verdict_is_hidden_until_it_is_said(player_at, tmp_path):
    player = player_at(Pacing(inf))
    player.keep_answers(tmp_path / "answers.jsonl", "Ines")
    app = ReplayApp(player, title="quay", hide=True)
    async with app.run_test(size=(100, 32)) as pilot:
        text = await until(pilot, lambda text: "Say your verdict on “Primary winding”" in text)
        assert "waits for your verdict" in text
        assert "✗" not in text
        assert "Limits: 0.7 Ω to 1 Ω." in text
        await pilot.press(*"sho", "enter")
        text = await until(pilot, lambda text: "verdict on “Secondary winding”" in text)
        assert "✗ Primary winding" in text
        assert "✓ Secondary winding" not in text
        await pilot.press("4", "enter")
        await until(pilot, lambda text: "verdict on “Stop switch” in “stop”" in text)
        await pilot.press("ctrl+n")  # not said: on to the next touch
        await until(pilot, lambda text: "in “run”. Limits: at least 1 MΩ" in text)
        await pilot.press("enter")  # nothing is chosen beforehand
        await pilot.press("o", "enter")
        await until(pilot, lambda text: "the record ends here" in text)
    lines = (tmp_path / "answers.jsonl").read_bytes().splitlines()
    answers = [msgspec.json.decode(line, type=TraineeAnswer) for line in lines]
    assert [(a.step, a.said) for a in answers] == [
        ("primary", "short"),
        ("secondary", "in-window"),
        ("stop-switch", ""),
        ("stop-switch", "open"),
    ]
    assert [a.right for a in answers] == [False, True, False, True]


async def test_the_comment_on_a_verdict_stays_on_the_page(player_at):
    app = ReplayApp(player_at(Pacing(1.0)), title="quay", hide=True)
    async with app.run_test(size=(100, 32)) as pilot:
        await pilot.press("n", "n")
        await until(pilot, lambda text: "Say your verdict on “Primary winding”" in text)
        await pilot.press("down", "enter")
        await until(pilot, lambda text: "the bench says so too: open" in text)


async def test_leaving_while_a_verdict_is_waited_for_ends_everything(player_at):
    app = ReplayApp(player_at(Pacing(inf)), title="quay", hide=True)
    async with app.run_test(size=(100, 32)) as pilot:
        await until(pilot, lambda text: "Say your verdict" in text)
        await pilot.press("q")  # typed into the answer
        assert app.return_code is None
        await pilot.press("ctrl+q")
    assert app.return_value == 0


async def test_going_back_takes_a_question_back(player_at):
    player = player_at(Pacing(inf))
    app = ReplayApp(player, title="quay", hide=True)
    async with app.run_test(size=(100, 32)) as pilot:
        await until(pilot, lambda text: "Say your verdict" in text)
        player.pause_or_go()
        await pilot.press("escape", "b")
        text = await until(pilot, lambda text: "‖ paused" in text)
        assert "Say your verdict" not in text


async def test_help_and_narrow_terminals(player_at):
    app = ReplayApp(player_at(Pacing(1.0, paused=True)), title="quay")
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda text: "‖ paused" in text)
        await pilot.press("question_mark")
        await until(pilot, lambda text: "on to the next thing that happens" in text)
        await pilot.press("escape")
        await until(pilot, lambda text: "on to the next thing that happens" not in text)
