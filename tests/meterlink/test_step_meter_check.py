"""The meter check as a step: marking or bands, a hold, an outcome that marks the job."""

from math import sqrt

import pytest

from meterlink.commands import Confirm, Enter, Redo, Skip
from meterlink.events import Asked, CardEnded, Entered, StepEnded
from meterlink.judging.accuracy import Accuracy
from meterlink.source import Setting
from meterlink.steps.meter_check import MeterChecked
from tests.meterlink.bench_hands import LEAD_ZERO, OVER, PRIMARY, Hands, card
from tui.announcing.teller import Teller, table

CHECK = 'kind = "meter-check"\nid = "meter-check"\ntitle = "Meter check"'
SPEC = (Accuracy(percent=0.5, counts=2),)


def checking(*steps: str) -> Hands:
    return Hands(card(*(steps or (CHECK,))), accuracy=SPEC).cautions()


@pytest.mark.parametrize("told", ["4.7 kohm 5%", "yellow violet red gold", "4k7 5 %"])
def test_a_good_meter_passes_whichever_way_the_resistor_is_told(told):
    # IEC 60062: yellow violet red gold is 4.7 kohm, 5 %.
    hands = checking().tell(Enter(text=told, who="Ines")).touch(4712.0, step=1.0)
    checked = hands.last(MeterChecked)
    assert hands.outcomes["meter-check"] == "passed"
    assert checked.passed
    assert (checked.ohms, checked.tolerance) == (4700.0, 5.0)
    assert checked.error == pytest.approx(12.0, abs=1.0)
    assert hands.last(Entered).who == "Ines"
    assert not hands.bench.progress.meter_failed


def test_the_uncertainty_of_the_event_is_that_of_meter_and_marking():
    hands = checking().tell(Enter(text="4.7 kohm 1%")).touch(4712.0, step=1.0)
    checked = hands.last(MeterChecked)
    meter = (0.005 * checked.value + 2) / sqrt(3)
    marking = 47 / sqrt(3)
    # The rest is small; a rectangular part twice the other's width has less reach than 1.96.
    assert 1.7 < checked.u / sqrt(meter**2 + marking**2) < 1.96
    # A check sees no error below what the marking leaves open.
    assert checked.sees == pytest.approx(checked.u / 4700)
    assert "an error below 1.2 % this check cannot see" in hands.last(Asked).say
    assert {line.name for line in checked.budget} >= {"meter", "resistor", "repeatability"}


def test_the_leads_come_off_a_small_resistor():
    hands = checking(LEAD_ZERO, CHECK).touch(0.2).tell(Enter(text="1 ohm 1%")).touch(1.2)
    assert hands.last(MeterChecked).corrected == pytest.approx(1.0, abs=0.003)
    assert hands.outcomes["meter-check"] == "passed"


def test_a_failed_check_waits_for_a_second_try_before_it_stands():
    hands = checking(CHECK, PRIMARY).tell(Enter(text="4.7 kohm 1%")).touch(5000.0, step=1.0)
    assert not hands.last(MeterChecked).passed
    assert "Clean the tips" in hands.last(Asked).say
    assert "meter-check" not in hands.outcomes
    hands.touch(4705.0, step=1.0)
    assert hands.outcomes["meter-check"] == "passed"
    assert [event.passed for event in hands.all(MeterChecked)] == [False, True]


def failed() -> Hands:
    hands = checking(CHECK, PRIMARY).tell(Enter(text="4.7 kohm 1%")).touch(5000.0, step=1.0)
    return hands.tell(Confirm()).touch(0.85)


def test_a_check_that_stays_failed_marks_the_job():
    hands = failed()
    assert hands.outcomes["meter-check"] == "failed"
    assert hands.bench.progress.meter_failed
    assert hands.last(CardEnded).meter_failed
    teller = Teller(hands.bench.card, ohm_sign=False)
    assert "failed its check" in next(table(hands.bench.progress, teller))
    assert "failed its check" in teller.tell(hands.last(CardEnded))


def test_a_check_done_again_takes_the_mark_away():
    hands = failed().tell(Redo(step="meter-check", reason="flat battery"))
    assert not hands.bench.progress.meter_failed
    hands.tell(Enter(text="4.7 kohm 1%")).touch(4705.0, step=1.0)
    assert hands.bench.progress.ended
    assert not hands.last(CardEnded).meter_failed


def test_it_can_be_skipped_and_then_marks_nothing():
    hands = checking(CHECK, PRIMARY).tell(Skip(reason="no resistor here"))
    assert hands.last(StepEnded).reason == "no resistor here"
    assert not hands.bench.progress.meter_failed


def test_a_resistor_on_the_card_need_not_be_typed():
    hands = checking(f'{CHECK}\nresistor = "brown black black gold brown"').touch(10.02, step=0.01)
    # IEC 60062: brown black black gold brown is 10 ohm, 1 %.
    assert hands.last(MeterChecked).ohms == 10.0
    assert hands.outcomes["meter-check"] == "passed"


def test_what_is_no_resistor_is_said_and_nothing_is_held_against_it():
    hands = checking().tell(Enter(text="plaid red red"))
    assert "plaid" in hands.last(Asked).say
    hands.touch(4700.0, step=1.0)
    assert "Which resistor" in hands.last(Asked).say
    assert not hands.all(MeterChecked)


def test_nothing_is_concluded_from_lifted_probes():
    hands = checking().tell(Enter(text="4.7 kohm 1%")).read(OVER, 30).tell(Confirm())
    assert not hands.all(MeterChecked)
    assert "meter-check" not in hands.outcomes


def test_the_meters_range_follows_the_resistor():
    hands = checking()
    assert hands.bench.setup is None
    hands.tell(Enter(text="4.7 kohm 5%"))
    assert hands.bench.setup.expected == pytest.approx(4935.0)
    hands.set(Setting(range=10e3, four_wire=True)).touch(4712.0, step=1.0)
    assert any("four wires" in note for note in hands.last(MeterChecked).notes)
