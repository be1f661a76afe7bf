"""Every card there is begins and goes on with every profile there is, on every size of screen.

Cards and profiles are found, not listed. A person answers each step on the page in words, or
leaves it; what the bench says of it is held against what the page shows.
"""

from itertools import cycle

import pytest
from textual.widgets import Static

from meterlink.card import Step, left_out, steps_on
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.meter_check import MeterCheckStep
from tests.tui.acting import ActedSession
from tests.tui.looking import settled
from tui.screen.app import BenchApp
from tui.settings import CARDS, PROFILES, ScreenSettings

SIZES = [(80, 24), (100, 30), (140, 40)]
MOST_STEPS = 60


def answer(step: Step) -> list[str]:
    """Return the keys that a person answers or leaves ``step`` by."""
    match step:
        case CautionStep():
            return ["space"]
        case ConfirmationStep():
            return [*"yes", "enter"]
        case EntryStep(takes="choice"):
            return [*(step.choices[-1].replace(" ", "-")), "enter"]
        case EntryStep(takes="temperature"):
            return [*"19", "enter"]
        case EntryStep(takes="text"):
            return [*"seen", "enter"]
        case EntryStep() | MeterCheckStep():  # what is typed there goes to the question
            return ["ctrl+s"]
        case _:
            return ["s"]


@pytest.mark.parametrize("profile", [found.name for found in PROFILES.all()])
@pytest.mark.parametrize("card", [found.name for found in CARDS.all()])
async def test_every_card_is_worked_to_its_end_with_every_profile(card, profile):
    session = ActedSession(CARDS.get(card), PROFILES.get(profile))
    progress = session.bench.progress
    there = steps_on(session.bench.card, session.bench.profile)
    missing = left_out(session.bench.card, session.bench.profile)
    sizes = cycle(SIZES)
    app = BenchApp(session, title="pump 3", settings=ScreenSettings(tones=False), where="/jobs/p")
    async with app.run_test(size=next(sizes)) as pilot:
        await settled(pilot)
        worked = []
        while progress.current is not None and len(worked) < MOST_STEPS:
            await pilot.resize_terminal(*next(sizes))
            text = await settled(pilot)
            step = session.bench.card.find(progress.current)
            worked.append(step.id)
            assert f"▶ {step.title}"[:20] in text or isinstance(step, CautionStep)
            told = len(session.told)
            await pilot.press(*answer(step))
            await settled(pilot)
            assert len(session.told) == told + 1
            outcome = progress.outcome(step.id)
            if isinstance(step, EntryStep) and step.takes == "choice":
                assert outcome == step.choices[-1]
            if isinstance(step, ConfirmationStep) and not outcome:
                await pilot.press("ctrl+s")  # a yes that needs other steps first
                await settled(pilot)
        assert progress.ended
        assert set(worked) <= {step.id for step in there}
        lines = str(app.query_one("#step-lines", Static).content)
        assert lines.count("not on this engine") == bool(missing)
        assert all(plain_head(step) in lines for step in there)
        assert "steps done" in await settled(pilot)


def plain_head(step: Step) -> str:
    """Return as much of the title of ``step`` as every list has room for."""
    return step.title[:10]
