"""The practice screen: typed lines, keys and clicks come to the same rules as without it."""

import pytest
from textual.pilot import Pilot
from textual.widgets import Digits, Input, Static

from captures.training.trainees import TraineeStore
from meterlink.errors import PortLostError
from meterlink.steps.entry import STANDING
from meterlink.training.case import Order, draw
from meterlink.training.practice import Practice
from tests.meterlink.circuit_patients import demo_profile
from tui.practice.bench import PracticeBench
from tui.practice.results import Diary, begin
from tui.practice.screen import PracticeApp, RunningText
from tui.screen.picture import PictureView

SIZE = (110, 36)


@pytest.fixture(scope="module")
def case():
    return draw(Order(seed=3, fault="open-primary", complaint="no-spark"), demo_profile())


@pytest.fixture
def app(case):
    practice = Practice(case)
    with PracticeBench(practice) as bench:
        yield PracticeApp(practice, bench)


async def settled(pilot: Pilot) -> None:
    app = pilot.app
    await pilot.pause()
    while app._busy and app.is_running:
        await app.workers.wait_for_complete()
        await pilot.pause()


async def type_in(pilot: Pilot, *lines: str) -> None:
    """Type lines one on the heels of the other, and wait until all of them are done."""
    for line in lines:
        pilot.app.query_one(Input).value = line
        await pilot.press("enter")
    await settled(pilot)


def running_text(app: PracticeApp) -> str:
    return "\n".join(line.text for line in app.query_one(RunningText).lines)


async def test_typed_lines_move_the_probes_and_show_the_reading_and_the_tips(app):
    async with app.run_test(size=SIZE) as pilot:
        await type_in(pilot, "set stop wire off", "check secondary")
        await type_in(pilot, "probes plug lead, laminations")
        assert "Red on plug lead, black on laminations." in running_text(app)
        assert app.query_one("#unit", Static).visual.plain == "kΩ"
        assert 4.0 < float(app.query_one(Digits).value) < 7.0
        assert app.query_one(PictureView).marks == {"plug lead": "R", "laminations": "B"}
        await type_in(pilot, "lift")
        assert app.query_one("#unit", Static).visual.plain == "over range"
        assert app.practice.ledger.outcomes["secondary-resistance"] == "in-window"


async def test_two_clicks_on_the_drawing_put_the_red_tip_and_then_the_black_one_on(app):
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        picture = app.query_one(PictureView)
        spots = {spot.place: (spot.column, spot.row) for spot in picture.drawing.spots}
        await pilot.click(PictureView, offset=spots["stop wire"])
        await settled(pilot)
        assert picture.marks == {"stop wire": "R"}
        await pilot.click(PictureView, offset=spots["block"])
        await settled(pilot)
        assert app.bench.touching == ("stop wire", "block")


@pytest.mark.parametrize(
    ("key", "shows"),
    [
        ("f1", "say where the fault is"),
        ("f2", "Safety: nothing done yet."),
        ("f3", "spark at the test gap"),
        ("f4", "painted laminations"),
        ("f7", "Next best:"),
        ("ctrl+c", "F10 leaves."),
    ],
)
async def test_each_key_types_its_line(app, key, shows):
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press(key)
        await settled(pilot)
        assert shows in running_text(app)


async def test_markup_and_control_bytes_that_are_typed_are_shown_harmless(app):
    async with app.run_test(size=SIZE) as pilot:
        await type_in(pilot, "[red]probes[/] \x1b[2J", "name [/nothing]")
        shown = running_text(app)
        assert "[red]probes[/]" in shown
        assert "\x1b" not in shown
        assert "“[/nothing]”" in shown


async def test_giving_the_engine_back_ends_the_screen_with_the_ledger_whole(app):
    async with app.run_test(size=SIZE) as pilot:
        await type_in(pilot, "name armature: open primary", "set stop switch run")
        await type_in(pilot, "check stop-check", "done")
    assert app.practice.signed_off
    assert app.fault is None
    assert app.practice.ledger.outcomes["stop-check"] == "stops"


async def test_on_a_small_screen_every_control_is_still_shown():
    case = draw(Order(seed=1, difficulty="hard"), demo_profile())
    practice = Practice(case)
    assert len(practice.engine.switch) == 3
    with PracticeBench(practice) as bench:
        app = PracticeApp(practice, bench)
        async with app.run_test(size=(80, 24)) as pilot:
            await settled(pilot)
            await type_in(pilot, *(f"set {c} off" for c in practice.controls if "connect" in c))
            await type_in(pilot, "set clip lead terminal")
            await pilot.pause()
            stands = app.query_one("#stands", Static)
            lines = stands.render_lines(stands.region.reset_offset)
            shown = " ".join(" ".join(strip.text for strip in lines).split())
            for control in practice.controls:
                stood = practice.condition.position(control, practice.engine)
                if "connector" not in control:
                    assert f"{control}: {stood}" in shown
            names = ", ".join(switch.name for switch in practice.engine.switch)
            assert shown.endswith(f"unplugged: {names}")
            assert app.query_one(Input).region.bottom <= 24


async def test_the_running_text_is_broken_at_words_to_whatever_width_there_is(app):
    async with app.run_test(size=(140, 40)) as pilot:
        await type_in(pilot, "cautions")
        for size in ((80, 24), (140, 40)):
            await pilot.resize_terminal(*size)
            await pilot.pause()
            text = app.query_one(RunningText)
            rows = [line.text for line in text.lines]
            assert max(map(len, rows)) <= text.scrollable_content_region.width
            said = " ".join(" ".join(row.split()) for row in rows)
            for line in STANDING:
                assert line in said
            # What goes on stands under where the line began.
            assert all(row.startswith("  ") for row in rows[rows.index("[0 min] > cautions") + 1 :])


async def test_whoever_leaves_by_the_key_can_go_on_another_time(app, case, tmp_path):
    store = TraineeStore(tmp_path)
    with store.open("Ann") as file:
        practice = Practice(case)
        with PracticeBench(practice) as bench:
            kept = PracticeApp(practice, bench, Diary(file, begin(case, "")))
            async with kept.run_test(size=SIZE) as pilot:
                await type_in(pilot, "set cap off")
                await pilot.press("f10")
                await settled(pilot)
            assert kept.face.later
    (left,) = store.results("Ann").unfinished
    assert [typed.line for typed in left.typed] == ["set cap off"]
    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        await pilot.press("f10")
        await settled(pilot)
    assert app.face.over  # nothing is kept, so there is nothing to go on with
    assert not app.face.later


async def test_a_screen_that_is_closed_before_the_end_is_not_over(app):
    async with app.run_test(size=SIZE) as pilot:
        await type_in(pilot, "look")
        await pilot.press("ctrl+q")
    assert not app.face.over


async def test_an_interrupted_practice_is_typed_once_more_and_gone_on_with(case):
    practice = Practice(case)
    with PracticeBench(practice) as bench:
        app = PracticeApp(practice, bench, lines=["set stop wire off", "set cap off"])
        async with app.run_test(size=SIZE) as pilot:
            await settled(pilot)
            shown = running_text(app)
            assert shown.index("> set cap off") < shown.index("Here you left off.")
            assert practice.condition.controls == {"stop wire": "off", "cap": "off"}
            await type_in(pilot, "set cap on")
            assert practice.condition.controls["cap"] == "on"


async def test_a_meter_that_is_lost_ends_the_screen_and_is_told(app, monkeypatch):
    def lost(*_: object) -> None:
        raise PortLostError("the simulated meter no longer answers; begin again")

    async with app.run_test(size=SIZE) as pilot:
        await settled(pilot)
        monkeypatch.setattr(app.bench, "place", lost)
        app.query_one(Input).value = "probes stop wire, block"
        await pilot.press("enter")
        await pilot.pause()
    assert isinstance(app.fault, PortLostError)


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (140, 40)])
async def test_at_every_size_the_line_the_reading_and_the_drawing_are_there(app, size):
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for widget in (Input, Digits, PictureView):
            region = app.query_one(widget).region
            assert region.area
            assert app.screen.region.contains_region(region)
        assert app.query_one(PictureView).drawing is not None
