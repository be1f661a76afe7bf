"""Practice: a person plays the hands on the drawing, by keys and by mouse."""

from contextlib import asynccontextmanager
from math import inf

from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.events import StepBegan
from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile, worked_up_to
from tests.tui.looking import screen_text, settled
from tui.screen.app import BenchApp
from tui.screen.picture import HandsView, PictureView
from tui.session.hands import BenchHands
from tui.settings import ScreenSettings

PLACES = ("primary terminal", "laminations", "plug lead", "stop wire", "block", "air", "other tip")


class WatchedHands:
    """Takes down what the hands are made to do."""

    def __init__(self) -> None:
        self.places = PLACES
        self.controls = {"stop switch": ("stop", "run")}
        self.done: list[tuple[str, ...]] = []
        self.taken = 0

    def take(self) -> None:
        self.taken += 1

    def closes(self, control: str, position: str) -> bool | None:
        return position == "stop" if control == "stop switch" else None

    def place(self, red: str, black: str) -> None:
        self.done.append(("place", red, black))

    def lift(self) -> None:
        self.done.append(("lift",))

    def switch(self, control: str, position: str) -> None:
        self.done.append(("switch", control, position))


@asynccontextmanager
async def practice(at="primary", size=(100, 30)):
    hands = WatchedHands()
    session = ActedSession(card(), profile(), worked_up_to(at))
    app = BenchApp(session, title="practice", settings=ScreenSettings(tones=False), hands=hands)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await pilot.press("p")
        await settled(pilot)
        yield pilot, hands


async def test_the_tips_aim_at_the_points_of_the_step_and_enter_puts_them_on():
    async with practice() as (pilot, hands):
        text = screen_text(pilot.app)
        assert "red: ‹primary terminal›" in text
        assert "black: ‹laminations›" in text
        assert "[1R]" in text
        assert "[2B]" in text
        await pilot.press("enter")
        assert hands.done == [("place", "primary terminal", "laminations")]
        await pilot.press("enter")
        assert hands.done[-1] == ("lift",)


async def test_the_script_lets_go_once_and_the_keys_are_there_after_the_cautions():
    async with practice("cautions") as (pilot, hands):
        assert hands.taken == 1
        await pilot.press("space")
        await settled(pilot)
        await pilot.press(*"20", "enter")
        await settled(pilot)
        assert pilot.app.session.bench.progress.outcome("ambient") == "done"
        await pilot.press("escape")  # out of the choice that is asked for next
        await settled(pilot)
        assert isinstance(pilot.app.focused, HandsView)
        await pilot.press("p", "p")
        assert hands.taken == 1


async def test_a_row_is_one_line_however_narrow():
    async with practice(size=(80, 24)) as (pilot, hands):
        text = screen_text(pilot.app)
        assert "▶ red: ‹primary termin…" in text
        assert "Enter puts the tips on" in text
        await pilot.click(HandsView, offset=(4, 3))
        assert hands.done[-1] == ("place", "primary terminal", "laminations")


async def test_at_the_lead_zero_the_tips_aim_at_one_another():
    async with practice("lead-zero") as (pilot, hands):
        await pilot.press("enter")
        assert hands.done == [("place", "other tip", "other tip")]


async def test_arrows_choose_the_row_and_change_it():
    async with practice() as (pilot, hands):
        await pilot.press("right", "enter")
        assert hands.done == [("place", "laminations", "laminations")]
        await pilot.press("down", "right")
        assert hands.done[-1] == ("place", "laminations", "plug lead")  # moved while touching
        await pilot.press("down", "right")
        assert hands.done[-1] == ("switch", "stop switch", "run")
        assert "stop switch: ‹run›" in await settled(pilot)


async def test_the_drawn_lever_lies_as_the_switch_was_played():
    async with practice() as (pilot, _hands):
        assert "• ── ┐" in screen_text(pilot.app)
        await pilot.press("down", "down", "right")
        assert "• ╱  ┐" in await settled(pilot)


async def test_a_click_on_the_drawing_moves_red_and_black_in_turn():
    async with practice() as (pilot, _hands):
        picture = pilot.app.query_one(PictureView)
        spots = {spot.place: (spot.column, spot.row) for spot in picture.drawing.spots}
        await pilot.click(PictureView, offset=spots["plug lead"])
        await settled(pilot)
        await pilot.click(PictureView, offset=spots["block"])
        text = await settled(pilot)
        assert "red: ‹plug lead›" in text
        assert "black: ‹block›" in text


async def test_a_click_on_a_row_changes_it_and_on_the_last_line_touches():
    async with practice() as (pilot, hands):
        await pilot.click(HandsView, offset=(4, 2))
        assert hands.done == [("switch", "stop switch", "run")]
        await pilot.click(HandsView, offset=(4, 3))
        assert hands.done[-1] == ("place", "primary terminal", "laminations")


async def test_the_keys_come_back_and_the_trace_with_them():
    async with practice() as (pilot, _hands):
        assert "your hands" in screen_text(pilot.app)
        await pilot.press("p")
        assert "last minute" in await settled(pilot)


async def test_without_a_simulated_bench_there_are_no_hands_to_play():
    session = ActedSession(card(), profile(), worked_up_to("primary"))
    app = BenchApp(session, title="real", settings=ScreenSettings(tones=False))
    async with app.run_test(size=(80, 24)) as pilot:
        assert "p hands" not in await settled(pilot)
        await pilot.press("p")
        assert "your hands" not in await settled(pilot)


def test_a_script_that_was_taken_over_does_nothing_more():
    bench = SimulatedBench(load_scenario("spring-service"))
    bench.hands.notice(StepBegan(t=0.0, step="lead-zero"))
    assert bench.hands.advance(1.0) < inf
    BenchHands(bench).take()
    assert bench.hands.advance(2.0) == inf
    assert bench.hands.advance(60.0) == inf
    assert bench.hands.take_said() == []


def test_the_simulated_benchs_own_places_and_switches_can_be_reached():
    hands = BenchHands(SimulatedBench(load_scenario("spring-service")))
    assert {"primary terminal", "laminations", "plug lead", "block", "other tip"} <= set(
        hands.places
    )
    assert set(hands.controls["stop switch"]) == {"stop", "run"}
    assert hands.closes("stop switch", "stop") is True
    assert hands.closes("stop switch", "run") is False
    assert hands.closes("stop wire", "off") is None
    assert hands.controls["stop wire"][0] == "off"  # as the scenario begins
