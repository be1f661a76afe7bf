"""What is typed: texts, choices, yes and no, temperatures, and resistances that count as said."""

import pytest

from meterlink.commands import CallOpen, Confirm, Enter, Zero
from meterlink.events import Asked, Entered, Evidence, Judged, Verdict
from meterlink.judging.assess import PROVE_IT, TRUST
from meterlink.reading import Quantity
from meterlink.steps.worker import NOT_SURE, ON_METAL
from tests.meterlink.bench_hands import (
    AMBIENT,
    OVER,
    PRIMARY,
    SECONDARY,
    SWITCH,
    Hands,
    card,
)

TEXT = 'kind = "entry"\nid = "serial"\ntitle = "Serial"\ntakes = "text"'
CHOICE = (
    'kind = "entry"\nid = "spark"\ntitle = "Spark"\ntakes = "choice"\n'
    'choices = ["strong", "weak", "wandering"]'
)
ASKS = 'kind = "confirmation"\nid = "key"\ntitle = "Key sound"'
INSULATION = (
    'kind = "measurement"\nid = "insulation"\ntitle = "Insulation"\ninsulation = "insulation"'
)
SUPPRESSED = 'kind = "measurement"\nid = "cap"\ntitle = "With cap"\nwinding = "suppressed"'
LEAD = 'kind = "measurement"\nid = "lead"\ntitle = "Lead"\nlead = "plug lead"'


def at(step: str) -> Hands:
    return Hands(card(step)).cautions()


def test_a_text_that_is_required_cannot_be_left_empty():
    hands = at(TEXT).tell(Enter(text="   "))
    assert "cannot be left empty" in hands.last(Asked).say
    assert hands.tell(Enter(text=" A-113 ")).outcomes["serial"] == "done"
    assert hands.last(Entered).text == "A-113"


def test_a_text_that_is_not_required_can_be_confirmed_away():
    assert at(TEXT).tell(Confirm()).outcomes.get("serial") is None
    hands = at(TEXT + "\nrequired = false").tell(Confirm())
    assert hands.outcomes["serial"] == "done"
    assert not hands.all(Entered)


@pytest.mark.parametrize(
    ("typed", "chosen"), [("strong", "strong"), ("W", None), ("we", "weak"), ("3", "wandering")]
)
def test_a_choice_is_taken_by_its_beginning_or_number_where_that_is_only_one(typed, chosen):
    hands = at(CHOICE).tell(Enter(text=typed))
    assert hands.outcomes.get("spark") == chosen
    if chosen is None:
        assert "can be weak or wandering" in hands.last(Asked).say


@pytest.mark.parametrize("typed", ["0", "4", "none", ""])
def test_what_is_none_of_the_choices_is_said(typed):
    hands = at(CHOICE).tell(Enter(text=typed))
    assert "spark" not in hands.outcomes
    assert "is none of strong, weak, wandering" in hands.last(Asked).say


def test_a_question_of_yes_or_no_takes_these_words_alone():
    hands = at(ASKS).tell(Enter(text="perhaps"))
    assert "neither yes nor no" in hands.last(Asked).say
    assert hands.tell(Enter(text=" N ")).outcomes["key"] == "no"


def test_a_temperature_that_is_not_known_is_recorded_as_that():
    hands = at(AMBIENT).tell(Enter(text="Unknown"))
    assert (hands.last(Entered).text, hands.last(Entered).value) == ("unknown", None)
    assert hands.outcomes["ambient"] == "unknown"


def test_an_open_that_was_typed_is_no_surer_than_a_word():
    hands = at(SECONDARY).tell(Enter(text="300 kohm"))
    judged = hands.last(Judged)
    assert (judged.verdict, judged.evidence) == (Verdict.OPEN, Evidence.SAID)
    assert judged.probability <= TRUST[Evidence.SAID]
    assert sum(judged.probabilities.values()) == pytest.approx(TRUST[Evidence.SAID])
    assert (judged.clear, judged.advice) == (False, PROVE_IT)
    assert (judged.readings, judged.noise) == (1, 0.0)


def test_an_open_that_was_read_is_as_sure_as_its_reading():
    hands = at(SECONDARY).touch(300e3, step=100.0)
    judged = hands.last(Judged)
    assert (judged.verdict, judged.evidence) == (Verdict.OPEN, Evidence.READ)
    assert judged.probability > TRUST[Evidence.SAID]
    assert PROVE_IT not in judged.advice


@pytest.mark.parametrize(
    ("step", "reaches"),
    [(PRIMARY, 50.0), (SUPPRESSED, 205e3), (LEAD, 5.0), (INSULATION, None), (SWITCH, None)],
)
def test_the_range_reaches_what_counts_as_open_of_a_winding_and_the_window_of_a_lead(step, reaches):
    assert at(step).bench.setup.expected == reaches


def test_nothing_held_is_no_entry():
    hands = at(TEXT).tell(Confirm())
    assert "takes an entry" in hands.last(Asked).say
    assert not hands.all(Entered)


@pytest.mark.parametrize(("typed", "taken"), [("yes", True), ("no", False)])
def test_a_temperature_from_the_meter_is_taken_by_a_yes(typed, taken):
    hands = at(AMBIENT).read(21.5, 2.0, step=0.1, quantity=Quantity.TEMPERATURE)
    assert "Confirm takes it" in hands.last(Asked).say
    hands.tell(Enter(text=typed))
    assert (hands.outcomes.get("ambient") == "done") is taken
    assert [entered.how for entered in hands.all(Entered)] == ["probes"] * taken


def asked_about_the_tips() -> Hands:
    hands = at(SECONDARY).read(OVER, 1.0).tell(CallOpen())
    assert "Are both tips on bare metal" in hands.last(Asked).say
    return hands


def test_whoever_is_not_sure_of_the_tips_calls_no_open_and_the_question_is_gone():
    hands = asked_about_the_tips().tell(Enter(text=NOT_SURE))
    assert "bare metal" not in hands.last(Asked).say
    hands.tell(Enter(text=ON_METAL))
    assert not hands.all(Judged)


def test_the_question_about_the_tips_takes_its_own_answers_alone():
    hands = asked_about_the_tips().tell(Enter(text="I think so"))
    assert "is no answer to that" in hands.last(Asked).say
    assert "Are both tips" in hands.last(Asked).say
    assert hands.tell(Enter(text="On  bare metal.")).outcomes["secondary"] == "open"


def test_the_tips_cannot_be_vouched_for_once_the_meter_reads_something():
    hands = asked_about_the_tips().read(5200.0, 0.1, step=1.0)
    hands.tell(CallOpen()).tell(Enter(text=ON_METAL))
    assert not hands.all(Judged)
    hands.read(OVER, 1.0).tell(Enter(text=ON_METAL))
    assert not hands.all(Judged)


def test_no_open_is_called_after_a_value_that_cannot_be():
    hands = at(PRIMARY).read(1.5).tell(Zero()).read(OVER, 1.0).read(0.1, 2.0)
    assert not hands.bench.sound
    hands.read(OVER, 1.0).tell(CallOpen())
    assert "cannot be" in hands.last(Asked).say
    assert "primary" not in hands.outcomes
