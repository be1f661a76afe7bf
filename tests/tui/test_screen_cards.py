"""Every card there is begins with every profile there is, and goes on, on every size of screen.

Cards and profiles are found, not listed. A person answers each step on the page in words, or
leaves it; what the bench says of it is held against what the page shows. Each card is worked to
its end with one of the profiles here, and with all of them by the journeys.
"""

from itertools import cycle

import pytest
from textual.widgets import Static

from meterlink.card import Step, left_out, steps_on
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.repair import RepairStep
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
        case RepairStep():
            return [*"nothing", "enter"]
        case EntryStep() | MeterCheckStep():  # what is typed there goes to the question
            return ["ctrl+s"]
        case _:
            return ["s"]


ALL_CARDS = [found.name for found in CARDS.all()]
ALL_PROFILES = [found.name for found in PROFILES.all()]


@pytest.mark.parametrize("profile", ALL_PROFILES)
@pytest.mark.parametrize("card", ALL_CARDS)
async def test_every_card_lists_its_steps_with_every_profile(card, profile):
    session = ActedSession(CARDS.get(card), PROFILES.get(profile))
    app = BenchApp(session, title="pump 3", settings=ScreenSettings(tones=False), where="/jobs/p")
    async with app.run_test(size=SIZES[1]) as pilot:
        await settled(pilot)
        assert_lists_all_steps(app, session)


@pytest.mark.parametrize(
    ("card", "profile"), list(zip(ALL_CARDS, cycle(ALL_PROFILES), strict=False))
)
async def test_every_card_is_worked_to_its_end(card, profile):
    session = ActedSession(CARDS.get(card), PROFILES.get(profile))
    progress = session.bench.progress
    there = steps_on(session.bench.card, session.bench.profile)
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
        assert_lists_all_steps(app, session)
        assert "steps done" in await settled(pilot)


def assert_lists_all_steps(app: BenchApp, session: ActedSession) -> None:
    """Check that the list has each step of the card, and says where some are left out."""
    card, profile = session.bench.card, session.bench.profile
    lines = str(app.query_one("#step-lines", Static).content)
    assert lines.count("not on this engine") == bool(left_out(card, profile))
    assert all(plain_head(step) in lines for step in steps_on(card, profile))


def plain_head(step: Step) -> str:
    """Return as much of the title of ``step`` as every list has room for."""
    return step.title[:10]
