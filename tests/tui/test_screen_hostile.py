"""Text from meter, profile, job and card is shown and never obeyed."""

import asyncio

import msgspec
import pytest

from meterlink.card import Card
from meterlink.events import Asked, Gap, MeterSet, StepEnded
from meterlink.source import Identity
from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile, worked_up_to
from tests.tui.looking import screen_text, settled
from tui.screen.app import BenchApp
from tui.settings import ScreenSettings

HOSTILE = [
    "[/x][OL][red]OL[/red]",
    "[$error][@click=app.leave]x[/]",
    "a\x1b[2Jb\x1b]0;title\x07c",
    "\u202edrawkcab\x9b31m two\r\nlines\ta\x00c",
]


def named(text: str) -> Card:
    """Return the card with every title, instruction and choice spoilt by ``text``."""
    kinds = []
    for step in card().step:
        changes: dict[str, object] = {"title": f"{text} {step.id}"[:80], "say": f"do {text} now"}
        if hasattr(step, "choices") and step.choices:
            changes["choices"] = (f"{text}1", f"{text}2")
        if hasattr(step, "lines"):
            changes["lines"] = (f"mind {text}",)
        kinds.append(msgspec.structs.replace(step, **changes))
    return msgspec.structs.replace(card(), step=tuple(kinds))


def spoilt_profile(text: str):
    whole = profile()
    windings = tuple(
        msgspec.structs.replace(part, between=(f"{text} here", f"{text} there"))
        for part in whole.winding
    )
    return msgspec.structs.replace(whole, winding=windings)


def no_control_bytes(text: str) -> bool:
    return all(c == "\n" or c.isprintable() for c in text)


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("at", ["cautions", "spark", "lead-off", "primary"])
async def test_hostile_text_is_shown_and_harms_nothing(text, at):
    session = ActedSession(named(text), spoilt_profile(text), worked_up_to(at))
    session.meter = Identity(maker=text, model=text)
    session.trouble = f"{text} cannot be written"
    app = BenchApp(session, title=f"job {text}", settings=ScreenSettings(tones=False))
    async with app.run_test(size=(140, 40)) as pilot:
        await settled(pilot)
        t = session.t
        events = [
            Asked(t=t, step=at, say=f"say {text} please"),
            MeterSet(t=t, quantity="resistance", lost=(f"no {text}",)),
            Gap(t=t, until=None, why=f"gone {text}"),
        ]
        await asyncio.to_thread(session.happen, events)
        if at == "primary":
            ended = StepEnded(t=t, step="lead-zero", outcome="skipped", reason=text)
            await asyncio.to_thread(session.happen, [ended])
        app._tick()
        shown = await settled(pilot)
        await pilot.press("u")
        shown += await settled(pilot)
        assert no_control_bytes(shown)
        assert app.is_running
        harmless = "".join(c for c in text if c.isprintable())
        if harmless == text:
            first = screen_text(app).splitlines()[0]
            assert f"job {text}" in first
            assert f"gone {text}" in shown


async def test_what_reaches_the_terminal_has_no_sequence_of_the_meters(tmp_path, monkeypatch):
    """Below the widgets too: nothing that was sent to the terminal came out of a name."""
    text = "\x1b]52;c;ZXZpbA==\x07"
    session = ActedSession(named(text), spoilt_profile(text), worked_up_to("primary"))
    session.meter = Identity(maker=text)
    app = BenchApp(session, title=text, settings=ScreenSettings(tones=False))
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        strips = app.screen._compositor.render_strips()
        written = "".join(segment.text for strip in strips for segment in strip)
        assert "\x1b" not in written
        assert "\x07" not in written
        assert "]52;c" in written
