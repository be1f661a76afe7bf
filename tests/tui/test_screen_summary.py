"""The last page of a card, at the smallest size: what it came to and what is still to do."""

import asyncio

import pytest

from meterlink.events import CardEnded, Entered, Judged, StepEnded, Verdict
from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile, worked_up_to
from tests.tui.bench_screen import QUIET, press
from tests.tui.looking import settled
from tui.screen.app import BenchApp


def verdict(step, corrected, said, *, clear=True):
    return Judged(
        t=9.0, step=step, contact_t=8.0, value=corrected, readings=23, corrected=corrected,
        u=0.013, verdict=said, probability=0.997 if clear else 0.7, clear=clear,
    )  # fmt: skip


def signed(outcome="yes"):
    return [
        StepEnded(t=10.0, step="stop-check", outcome="yes"),
        StepEnded(t=10.0, step="sign-off", outcome=outcome),
        CardEnded(t=10.0, card="every-kind", signed_off=outcome == "yes"),
    ]


def primary(value, said, **how):
    return [
        verdict("primary", value, said, **how),
        StepEnded(t=9.5, step="primary", outcome=said.value),
    ]


async def last_page(*events, past="stop-check", keys=()):
    session = ActedSession(card(), profile(), worked_up_to(past))
    app = BenchApp(session, title="pump 3", settings=QUIET, where="/srv/jobs/pump-3")
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await asyncio.to_thread(session.happen, [*events])
        text = await settled(pilot)
        return await press(pilot, *keys) if keys else text


async def test_a_passed_job_says_so_and_where_it_is_kept():
    switch = StepEnded(t=9.0, step="stop-switch", outcome="passed")
    text = await last_page(*primary(0.84, Verdict.IN_WINDOW), switch, *signed())
    assert "✓ PASSED, signed off   11 of 11 steps done" in text
    assert "/srv/jobs/pump-3" in text
    assert "Still to do" not in text
    assert "Did not pass" not in text


async def test_a_failed_job_shows_each_failure_with_value_and_limits_and_nothing_else_large():
    text = await last_page(*primary(2.97, Verdict.ABOVE), *signed("skipped"))
    assert "✗ NOT PASSED, not signed off" in text
    assert "Primary winding: 2.970 ± 0.013 Ω, above limits (clear); limits 0.7 Ω to 1 Ω" in (
        " ".join(text.split())
    )
    assert "Stop switch: skipped" in text
    assert "Sign off: not signed" in text
    assert "██" not in text  # no figures, no tile


async def test_an_unfinished_job_lists_what_a_signature_waits_for():
    no = [StepEnded(t=9.0, step="stop-check", outcome="no")]
    text = await last_page(*no, *signed("skipped")[1:])
    assert "✗ NOT PASSED" in text
    assert "✗ The engine stops: no, must be yes" in text
    skipped = [StepEnded(t=9.0, step="stop-check", outcome="skipped", reason="no fuel")]
    text = await last_page(*skipped, *signed("skipped")[1:])
    assert "· NOT FINISHED, not signed off" in text
    assert "» The engine stops: skipped (no fuel)" in text


async def test_a_close_verdict_is_not_called_passed():
    text = await last_page(*primary(0.71, Verdict.IN_WINDOW, clear=False), *signed())
    assert "Not sure" in text
    assert "close, 70 %" in text
    assert "✓ PASSED" not in text


async def test_back_from_the_end_is_work_again():
    session = ActedSession(card(), profile(), worked_up_to("sign-off"))
    app = BenchApp(session, title="pump 3", settings=QUIET)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        text = await press(pilot, "ctrl+s")
        assert "steps done" in text
        foot = text.splitlines()[-1]
        assert "b back" in foot
        assert "skip" not in foot
        text = await press(pilot, "b")
        assert "work card" in text
        assert "steps done" not in text


@pytest.mark.parametrize("entered", ["[/x][red]", "0.3 mm"])
async def test_words_of_people_are_shown_and_not_obeyed(entered):
    said = Entered(t=9.0, step="spark", text=entered)
    ended = StepEnded(t=9.0, step="primary", outcome="skipped", reason=entered)
    text = await last_page(said, ended, *signed("skipped"))
    assert f"skipped ({entered})" in text
