"""What is typed while a question stands goes to the question, and to nothing else."""

import asyncio
import random

import msgspec
import pytest
from textual import events

from meterlink.commands import CallOpen, Confirm, Enter
from meterlink.events import Asked, Evidence, Judged
from meterlink.hold.contact import Stage
from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile, worked_up_to
from tests.tui.bench_screen import QUIET, bench, press, touch
from tests.tui.looking import screen_text, settled
from tui.screen import entry
from tui.screen.app import BenchApp
from tui.screen.entry import fitting
from tui.settings import ScreenSettings

PLUG = ("good", "fouled", "cracked", "gap-wrong")


def with_choices(*choices):
    """A session that asks at once how the plug looks."""
    steps = tuple(
        msgspec.structs.replace(step, choices=choices) if step.id == "spark" else step
        for step in card().step
    )
    return ActedSession(
        msgspec.structs.replace(card(), step=steps), profile(), worked_up_to("spark")
    )


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("fouled", ["fouled"]),
        ("FO", ["fouled"]),
        ("g", ["good", "gap-wrong"]),
        ("gap wrong", ["gap-wrong"]),
        ("2", ["fouled"]),
        ("9", []),
        ("0", []),
        ("²", []),
        ("rusty", []),
        ("", list(PLUG)),
    ],
)
def test_a_choice_is_meant_by_its_words_their_beginning_or_its_number(typed, means):
    assert [PLUG[at] for at in fitting(PLUG, typed)] == means


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
@pytest.mark.parametrize("word", PLUG)
async def test_a_word_that_is_typed_is_what_is_recorded_and_no_setting_changes(word, size):
    kept = []
    session = with_choices(*PLUG)
    app = BenchApp(session, title="pump 3", settings=QUIET, keep=kept.append)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        text = await press(pilot, *word)
        assert f"Enter takes “{word}”" in " ".join(text.split())
        assert session.told == []
        text = await press(pilot, "enter")
        assert session.bench.progress.outcome("spark") == word
        assert f"Spark seen: {word}" in text
        assert "ctrl+b takes it back" in text
        assert len(session.told) == 1
        assert kept == []
        assert session.bench.gestures


async def test_what_is_not_clear_is_not_taken():
    session = with_choices(*PLUG)
    app = BenchApp(session, title="pump 3", settings=QUIET)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        for typed in ("", "g", "x", "9"):
            await press(pilot, *typed, "enter", "enter", "space")
            assert session.told == []
            await press(pilot, "ctrl+u")
        await press(pilot, *"rust", "enter")
        assert "No answer is “rust”" in " ".join(screen_text(app).split())


async def test_nothing_typed_overtakes_a_key_that_clears_the_line():
    async with bench("ambient") as (pilot, session):
        await press(pilot, *"12")
        # As a fast typist or a paste sends them: nothing waits for the page between two keys.
        keys = [
            ("end", None),
            ("ctrl+u", "\x15"),
            *(("space" if c == " " else c, c) for c in "20 C"),
        ]
        for key, sign in (*keys, ("enter", "\r")):
            pilot.app._driver.process_message(events.Key(key, sign))
        await settled(pilot)
        assert [told.text for told in session.told] == ["20 C"]


async def test_two_quick_enters_answer_one_question():
    async with bench("spark") as (pilot, session):
        await pilot.press("3", "enter", "enter", "enter")
        await settled(pilot)
        assert [type(told) for told in session.told] == [Enter]


async def test_the_foot_says_what_the_keys_do_now():
    async with bench("spark", size=(80, 24)) as (pilot, _):
        foot = screen_text(pilot.app).splitlines()[-1]
        assert "^s skip" in foot
        assert "space confirm" not in foot
        foot = (await press(pilot, "escape")).splitlines()[-1]
        assert "s skip" in foot
        assert "^s" not in foot
        assert "answer" in foot
        foot = (await press(pilot, "enter")).splitlines()[-1]
        assert "take it" in foot


async def test_the_first_picture_of_a_question_has_its_own_keys_at_the_foot():
    async with bench("primary", size=(80, 24)) as (pilot, session):
        await asyncio.to_thread(session.feed, [None] * 30)
        await asyncio.to_thread(session.tell, CallOpen())
        text = ""
        async with asyncio.timeout(10):
            while "bare metal" not in text:
                await asyncio.sleep(0)
                text = screen_text(pilot.app)
        assert "^s skip" in text.splitlines()[-1]


@pytest.mark.parametrize("key", ["space", "enter"])
async def test_a_key_held_down_answers_no_question_that_has_just_appeared(key, monkeypatch):
    monkeypatch.setattr(entry, "SUDDEN_S", 60.0)  # however slow this computer is
    step = "lead-off" if key == "space" else "ambient"
    async with bench(step) as (pilot, session):
        await press(pilot, key, key)
        assert session.told == []
        monkeypatch.setattr(entry, "SUDDEN_S", 0.0)
        await press(pilot, key)
        assert [type(told) for told in session.told] == [Confirm]


async def test_space_confirms_where_nothing_is_typed_and_never_against_what_is_pointed_at(
    monkeypatch,
):
    monkeypatch.setattr(entry, "SUDDEN_S", 0.0)  # however quick this computer is
    async with bench("lead-off", size=(80, 24)) as (pilot, session):
        await press(pilot, "n", "space")
        assert session.told == []
        await press(pilot, "ctrl+u", "up", "space")  # points at no
        assert session.told == []
        await press(pilot, "down", "space")
        assert [type(told) for told in session.told] == [Confirm]


async def test_settings_of_an_earlier_version_still_load():
    settings = ScreenSettings(tones=False, keys={"gestures": "g", "theme": "l", "skip": "x"})
    async with bench("primary", settings=settings) as (pilot, session):
        await press(pilot, "g")
        assert not session.bench.gestures
        await press(pilot, "x")
        assert session.bench.progress.outcome("primary") == "skipped"


# --- an open on somebody's word -----------------------------------------------------------------


async def test_an_open_on_ones_word_takes_its_own_key_and_its_own_answer():
    async with bench("primary", size=(80, 24)) as (pilot, session):
        await asyncio.to_thread(session.feed, [None] * 30)
        await press(pilot, "space", "space", "space")
        assert not any(isinstance(event, Judged) for event in session.seen)
        text = await press(pilot, "ctrl+o")
        assert isinstance(session.told[-1], CallOpen)
        assert "bare metal" in text
        assert "no, not sure" in text
        text = await press(pilot, "enter")  # what stands there already
        assert not any(isinstance(event, Judged) for event in session.seen)
        assert session.bench.progress.current == "primary"
        await press(pilot, "ctrl+o")
        text = await press(pilot, *"on", "enter")
        judged = [event for event in session.seen if isinstance(event, Judged)][-1]
        assert judged.evidence is Evidence.SAID
        assert session.bench.progress.outcome("primary") == "open"
        assert "said, not measured" in text
        assert "said open" in text
        assert "clear" not in text
        text = await press(pilot, "u")
        assert "not measured" in text


async def test_a_question_stands_whatever_the_probes_do():
    async with bench("primary") as (pilot, session):
        live = session.bench.look()
        for stage in (Stage.SETTLING, Stage.HELD):
            look = msgspec.structs.replace(live, stage=stage)
            asked = Asked(t=session.t, step="primary", say="Is the coil cold?")
            await asyncio.to_thread(session.happen, [asked], look)
            assert "Is the coil cold?" in await settled(pilot)


async def test_the_judged_value_is_the_large_one_and_goes_with_its_step():
    async with bench("primary") as (pilot, session):
        await touch(session, 0.97)
        text = await settled(pilot)
        assert pilot.app.query_one("#reading").value.startswith("0.8")
        assert "as read 0.97" in text
        assert "corrected 0.8" in text
        await asyncio.to_thread(session.lift)
        await settled(pilot)
        assert pilot.app.view.judged is None
        assert pilot.app.query_one("#stage").verdict_words == ""


# --- keys at random -----------------------------------------------------------------------------

MASH = (
    *"abcdefghijklmnopqrstuvwxyz0123456789[]{}/\\“”?.,-+ ",
    *("space", "enter", "tab", "escape", "up", "down", "left", "right", "backspace", "delete"),
    *("home", "end", "pageup", "pagedown", "f1", "f2", "f5", "f10", "shift+tab"),
    *(f"ctrl+{letter}" for letter in "abdefgjklnorstuwxyz"),
)
"""Every key but those of the settings, and those that leave."""
SETTING = ("f6", "f7", "f8", "f9")


@pytest.mark.parametrize("seed", range(4))
async def test_keys_at_random_break_nothing_and_change_no_setting(seed):
    """A short piece of what is played at length elsewhere."""
    rng = random.Random(seed)
    kept = []
    start = ("cautions", "spark", "primary", "stop-switch")[seed]
    session = ActedSession(card(), profile(), worked_up_to(start))
    app = BenchApp(session, title="pump 3", settings=QUIET, keep=kept.append)
    app.exit = lambda *_, **__: None  # an ordinary leave would end the test
    keys = [key for key in MASH if key not in SETTING]
    async with app.run_test(size=rng.choice([(80, 24), (100, 30), (140, 40)])) as pilot:
        await settled(pilot)
        for _ in range(5):
            await pilot.press(*rng.choices(keys, k=20))
            await asyncio.to_thread(session.feed, rng.choices([None, 0.132, 0.97, 5200.0], k=3))
            await settled(pilot)
        assert app.is_running
    assert kept == []
    assert session.bench.gestures
    open_said = [e for e in session.seen if isinstance(e, Judged) and e.evidence is Evidence.SAID]
    answered = [c for c in session.told if isinstance(c, Enter) and c.text == "on bare metal"]
    assert len(open_said) <= len(answered) + sum(
        isinstance(c, Enter) and c.text.casefold() in {"ol", "open"} for c in session.told
    )
