"""Back, redo, skip and sign-off: corrections are new events, and a signature is for what it saw."""

import pytest

from meterlink.commands import Back, Confirm, Deny, Enter, How, Redo, Skip, Zero
from meterlink.events import Asked, CardEnded, Entered, Judged, StepEnded, StepReopened, Zeroed
from tests.meterlink.bench_hands import (
    AMBIENT,
    GAP,
    LEAD_ZERO,
    MODULE,
    PRIMARY,
    SECONDARY,
    SWITCH,
    TORQUE,
    Hands,
    card,
)

STOP = 'kind = "confirmation"\nid = "stop-check"\ntitle = "Stop check"'
SIGN = (
    'kind = "confirmation"\nid = "sign-off"\ntitle = "Sign off"\nsigns_off = true\n'
    'requires = [{ step = "stop-check", was = ["yes"] }]'
)


def test_a_typed_entry_is_corrected_by_a_new_one_and_the_old_stays_in_the_log():
    hands = Hands(card(GAP, TORQUE)).cautions().tell(Enter(text="0.30 mm", who="Ines"))
    hands.tell(Redo(step="gap", reason="read the wrong blade", who="Jo"))
    hands.tell(Enter(text="0.35 mm", who="Jo", when="2026-11-03T10:12:00+01:00", how=How.TYPED))
    assert [e.text for e in hands.all(Entered)] == ["0.30 mm", "0.35 mm"]
    assert hands.last(StepReopened).reason == "read the wrong blade"
    entered = hands.bench.progress.results["gap"].entered
    assert (entered.text, entered.who, entered.how) == ("0.35 mm", "Jo", "typed")
    assert entered.when == "2026-11-03T10:12:00+01:00"
    assert hands.bench.progress.current == "torque"


def test_back_goes_to_the_step_before_and_keeps_its_reason():
    hands = Hands(card(GAP, TORQUE)).cautions().tell(Enter(text="0.30 mm"))
    hands.tell(Back(reason="wrong gauge"))
    assert hands.bench.progress.current == "gap"
    assert hands.last(StepReopened).reason == "wrong gauge"


def test_a_skip_keeps_reason_and_who():
    hands = Hands(card(GAP)).cautions().tell(Skip(reason="no gauge", who="Ines", how=How.PEDAL))
    ended = hands.last(StepEnded)
    assert (ended.outcome, ended.reason, ended.who, ended.how) == (
        "skipped",
        "no gauge",
        "Ines",
        "pedal",
    )


def test_redo_of_a_step_that_is_not_there_says_which_are():
    hands = Hands(card(GAP)).cautions().tell(Redo(step="gpa"))
    assert "no step “gpa”" in hands.last(Asked).say
    assert "gap" in hands.last(Asked).say
    assert hands.bench.progress.current == "gap"


def test_a_step_cannot_be_done_again_before_it_was_done():
    hands = Hands(card(GAP, STOP, SIGN)).cautions().tell(Redo(step="sign-off"))
    assert "not been done yet" in hands.last(Asked).say
    assert hands.bench.progress.current == "gap"
    assert not hands.all(StepReopened)


def signed() -> Hands:
    hands = Hands(card(GAP, STOP, SIGN)).cautions().tell(Enter(text="0.30 mm"))
    hands.tell(Confirm()).tell(Confirm())
    assert hands.last(CardEnded).signed_off
    return hands


def test_what_is_done_again_after_the_sign_off_must_be_signed_again():
    hands = signed().tell(Redo(step="gap", reason="brake was in the way"))
    assert not hands.bench.progress.signed_off
    hands.tell(Enter(text="0.31 mm"))
    assert hands.bench.progress.current == "sign-off"
    hands.tell(Confirm())
    assert hands.last(CardEnded).signed_off


def test_no_signature_outlives_a_stop_check_that_fails():
    hands = signed().tell(Redo(step="stop-check", reason="tried again")).tell(Deny())
    hands.tell(Confirm())
    assert "Stop check" in hands.last(Asked).say
    hands.tell(Skip(reason="does not stop"))
    assert not hands.last(CardEnded).signed_off


def test_a_card_that_nobody_signs_is_not_signed():
    hands = Hands(card(STOP, SIGN)).cautions().tell(Confirm()).tell(Deny())
    assert hands.bench.progress.holds(hands.bench.card.find("sign-off").requires)
    assert not hands.last(CardEnded).signed_off


def test_a_typed_value_that_is_judged_again_is_as_sure_as_it_was():
    hands = Hands(card(LEAD_ZERO, PRIMARY, GAP)).cautions().touch(0.2).tell(Enter(text="1.050 ohm"))
    hands.tell(Redo(step="lead-zero")).tell(Enter(text="0.100 ohm"))
    before, after = hands.all(Judged)
    assert after.corrected == pytest.approx(0.95, abs=0.002)
    assert after.u == pytest.approx(before.u, rel=0.3)


def test_an_over_range_rests_on_no_value_that_could_be_judged_again():
    hands = Hands(card(LEAD_ZERO, PRIMARY, GAP)).cautions().touch(0.2).call_open()
    assert hands.bench.progress.results["primary"].basis is None
    hands.tell(Redo(step="lead-zero")).tell(Enter(text="0.1 ohm"))
    assert len(hands.all(Judged)) == 1


def test_a_switch_in_several_positions_is_not_judged_again_as_one_value():
    hands = Hands(card(LEAD_ZERO, SWITCH, GAP)).cautions().touch(0.2)
    hands.read(0.3).read(None, 2.0).read(0.3, 2.0).read(None, 1.0)
    assert hands.outcomes["switch"] == "passed"
    assert hands.bench.progress.results["switch"].basis is None


def test_a_probe_that_slipped_does_not_take_the_lead_zero_with_it():
    hands = Hands(card(PRIMARY, SECONDARY)).cautions().read(0.25).tell(Zero())
    hands.read(None, 1.0).touch(1.1)
    hands.tell(Redo(step="primary", reason="probe slipped"))
    assert hands.bench.progress.lead_zero is not None
    hands.touch(1.1)
    assert hands.outcomes["primary"] == "in-window"


def test_the_touch_that_was_the_lead_zero_is_no_verdict_on_the_winding():
    hands = Hands(card(PRIMARY, SECONDARY)).cautions().read(0.25, 3.0).tell(Zero())
    assert hands.all(Judged)  # it was held long enough to be judged as a short
    assert not hands.bench.progress.results["primary"].judged
    hands.read(None, 1.0)
    assert hands.bench.progress.current == "primary"


def test_a_lead_zero_by_command_counts_from_then_on():
    hands = Hands(card(LEAD_ZERO, PRIMARY, SECONDARY)).cautions().touch(0.2).touch(1.05)
    hands.read(0.3).tell(Zero()).read(None, 1.0).touch(5200.0, step=1.0)
    first, second = hands.all(Judged)
    assert (first.step, second.step) == ("primary", "secondary")
    assert hands.bench.progress.results["primary"].judged[""] == first


def test_a_correction_that_comes_to_nothing_leaves_nothing_behind():
    hands = Hands(card(LEAD_ZERO, PRIMARY, SECONDARY)).cautions().touch(0.2).touch(1.05)
    hands.tell(Redo(step="lead-zero")).tell(Enter(text="0.2 ohm"))
    many = len(hands.all(Judged))
    hands.read(0.3).tell(Zero()).read(None, 1.0).touch(5200.0, step=1.0)
    assert [event.step for event in hands.all(Judged)][many:] == ["secondary"]


def test_a_lead_zero_that_is_withdrawn_is_taken_off_nothing_more():
    hands = Hands(card(LEAD_ZERO, PRIMARY)).cautions().touch(0.2)
    hands.tell(Redo(step="lead-zero", reason="the plug was loose")).tell(Skip())
    assert hands.bench.progress.lead_zero is None
    hands.touch(0.85)
    assert hands.last(Judged).corrected == pytest.approx(0.85, abs=0.004)


def test_a_lead_zero_by_key_outlives_the_one_of_its_step():
    hands = Hands(card(LEAD_ZERO, PRIMARY)).cautions().touch(0.2).read(0.3).tell(Zero())
    hands.read(None, 1.0).tell(Redo(step="lead-zero")).tell(Skip()).touch(1.15)
    assert hands.last(Judged).corrected == pytest.approx(0.85, abs=0.004)


def test_temperature_that_is_withdrawn_corrects_nothing_more():
    hands = Hands(card(AMBIENT, PRIMARY)).cautions().tell(Enter(text="40 °C"))
    hands.tell(Redo(step="ambient", reason="the wrong thermometer")).tell(Skip())
    assert hands.bench.progress.temperature is None
    hands.touch(0.85)
    assert hands.last(Judged).corrected == pytest.approx(0.85, abs=0.004)


@pytest.mark.parametrize(("ohms", "leads"), [(1.95, True), (2.05, False)])
def test_no_more_than_two_ohms_are_taken_for_the_leads(ohms, leads):
    hands = Hands(card(PRIMARY)).cautions().read(ohms).tell(Zero())
    assert bool(hands.all(Zeroed)) is leads
    assert ("Hold the probe tips together" in hands.last(Asked).say) is not leads


def test_back_passes_over_a_step_that_ends_by_itself():
    hands = Hands(card(GAP, MODULE, TORQUE)).cautions().tell(Enter(text="0.30 mm"))
    assert hands.outcomes["module"] == "cannot-tell"
    hands.tell(Back(reason="wrong gauge"))
    assert hands.bench.progress.current == "gap"


@pytest.mark.parametrize(
    ("typed", "said"),
    [("soon", "cannot be read"), ("2.1 ohm", "between zero and 2"), ("-0.1 ohm", "between zero")],
)
def test_what_is_typed_for_the_leads_must_be_a_pair_of_leads(typed, said):
    hands = Hands(card(LEAD_ZERO)).cautions().tell(Enter(text=typed))
    assert said in hands.last(Asked).say
    assert not hands.all(Zeroed)
    assert hands.tell(Enter(text="2 ohm")).outcomes["lead-zero"] == "done"


def test_a_lead_zero_is_not_done_by_confirming_what_nobody_held():
    hands = Hands(card(LEAD_ZERO)).cautions().tell(Confirm())
    assert "lead-zero" not in hands.outcomes
    assert not hands.all(Zeroed)


def test_leads_below_zero_are_refused_and_no_open_can_be_had_until_a_sound_value():
    hands = Hands(card(LEAD_ZERO)).cautions().read(-0.5, 2.0)
    assert "below zero" in hands.last(Asked).say
    assert not hands.bench.sound
    assert not hands.all(Zeroed)
