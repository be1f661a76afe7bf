"""A verdict against the part asks for a second touch, and both are recorded."""

import pytest

from meterlink.commands import Confirm, Enter, Redo
from meterlink.events import Asked, Judged, StepEnded, Verdict
from meterlink.steps.measurement import Touches
from tests.meterlink.bench_hands import LEAD_ZERO, OVER, PRIMARY, SECONDARY, Hands, card

ABOVE = 9.2e3
GOOD = 5.5e3


def secondary() -> Hands:
    return Hands(card(LEAD_ZERO, SECONDARY)).cautions().touch(0.1)


def touch(hands: Hands, ohms: float) -> Hands:
    return hands.touch(ohms, step=1.0)


def repeats(hands: Hands) -> list[str]:
    return [judged.repeat for judged in hands.all(Judged)]


def test_a_value_in_the_window_needs_no_second_touch():
    hands = touch(secondary(), GOOD)
    assert hands.outcomes["secondary"] == "in-window"
    assert repeats(hands) == [""]


def test_one_touch_against_the_part_is_not_final():
    hands = secondary().read(ABOVE, step=1.0)
    assert "Lift and touch again" in hands.last(Asked).say
    hands.read(OVER, 1.0)
    assert "secondary" not in hands.outcomes
    assert "touch again" in hands.bench.asked.say
    assert repeats(hands) == ["not-repeated"]


def test_a_second_touch_that_agrees_makes_it_final_and_both_are_recorded():
    hands = touch(touch(secondary(), ABOVE), ABOVE)
    assert hands.outcomes["secondary"] == "above"
    assert repeats(hands) == ["not-repeated", "agrees"]
    assert len({judged.contact_t for judged in hands.all(Judged)}) == 2


def test_two_touches_that_disagree_are_said_so_and_neither_is_final():
    hands = touch(touch(secondary(), ABOVE), GOOD)
    assert "secondary" not in hands.outcomes
    newest = hands.last(Judged)
    assert (newest.verdict, newest.repeat, newest.clear) == (
        Verdict.IN_WINDOW,
        "disagrees",
        False,
    )
    assert any("The touches disagree: 9.2" in note for note in newest.notes)
    assert any("Clean both places" in asked.say for asked in hands.all(Asked))
    # A third that agrees with either settles it.
    touch(hands, GOOD)
    assert hands.outcomes["secondary"] == "in-window"


def test_the_same_verdict_at_another_value_disagrees_too():
    hands = touch(touch(secondary(), ABOVE), 3 * ABOVE)
    assert repeats(hands) == ["not-repeated", "disagrees"]
    assert "secondary" not in hands.outcomes


def test_a_slip_off_a_good_winding_costs_a_touch_and_not_the_winding():
    hands = touch(touch(touch(secondary(), 60e3), GOOD), GOOD)
    assert hands.outcomes["secondary"] == "in-window"


def test_a_record_of_one_touch_says_that_it_was_not_repeated():
    hands = touch(secondary(), ABOVE)
    hands.events += hands.bench.tell(Confirm(), hands.t)
    assert hands.outcomes["secondary"] == "above"
    assert repeats(hands) == ["not-repeated"]


def test_a_break_between_the_touches_keeps_the_first():
    first = touch(secondary(), ABOVE)
    again = Hands(first.bench.card, past=first.events)
    again.t = first.t
    touch(again, ABOVE)
    assert again.outcomes["secondary"] == "above"
    assert again.last(Judged).repeat == "agrees"


def test_redo_begins_with_the_first_touch():
    hands = touch(touch(secondary(), ABOVE), ABOVE)
    hands.tell(Redo(step="secondary", reason="cleaned"))
    touch(hands, ABOVE)
    assert hands.last(Judged).repeat == "not-repeated"
    assert hands.bench.progress.outcome("secondary") == ""


def test_a_typed_value_is_one_reading_and_ends_the_step():
    hands = secondary().tell(Enter(text="9.2 kohm"))
    assert hands.outcomes["secondary"] == "above"
    assert repeats(hands) == ["not-repeated"]
    assert isinstance(hands.last(StepEnded), StepEnded)


def test_a_typed_value_that_no_meter_measures_is_not_judged():
    hands = secondary().tell(Enter(text="1e14 ohm"))
    assert not hands.all(Judged)
    assert "more than any meter measures" in hands.bench.asked.say


def test_the_primary_touched_in_the_secondarys_step_is_questioned_and_never_clear():
    hands = secondary().touch(0.95).touch(0.95)
    for judged in hands.all(Judged):
        assert judged.verdict is Verdict.SHORT
        assert not judged.clear
        assert "reads like the primary winding" in judged.advice
    assert any("reads like the primary winding" in asked.say for asked in hands.all(Asked))


def test_a_shorted_primary_is_a_short_for_all_that():
    hands = Hands(card(LEAD_ZERO, PRIMARY)).cautions().touch(0.1)
    hands.touch(0.11, seconds=3.0).touch(0.11, seconds=3.0)
    assert hands.outcomes["primary"] == "short"


def verdict(corrected: float | None, u: float | None = 100.0) -> Judged:
    return Judged(
        t=1.0,
        step="secondary",
        contact_t=0.0,
        value=corrected,
        corrected=corrected,
        u=u,
        verdict=Verdict.OPEN,
        probability=0.99,
        clear=True,
    )


@pytest.mark.parametrize(
    ("first", "second", "repeat"),
    [
        (verdict(None, None), verdict(300e3), "agrees"),
        (verdict(300e3), verdict(None, None), "agrees"),
        (verdict(300e3, 100.0), verdict(300_099.0, None), "agrees"),
        (verdict(300e3, None), verdict(300_099.0, 100.0), "agrees"),
        (verdict(300e3), verdict(300_101.0), "disagrees"),
    ],
)
def test_touches_agree_within_the_larger_of_their_uncertainties(first, second, repeat):
    touches = Touches(Verdict.IN_WINDOW)
    assert touches.say() == ""
    touches.take(first)
    touches.lifted()
    assert touches.take(second).repeat == repeat
    assert touches.settled is (repeat == "agrees")
