"""What is said of a verdict and an entry, in sentences that a technician would say."""

import pytest

from meterlink.commands import Enter
from meterlink.events import Entered, Evidence, Judged, StepEnded, Verdict
from meterlink.quantities.budget import Component
from meterlink.wording import entered_words, percent, sure_words
from tests.meterlink.bench_hands import OVER, SECONDARY, TORQUE, Hands, card
from tui.announcing.teller import Teller, table


def judged(**other: object) -> Judged:
    usual = {
        "t": 1.0,
        "contact_t": 0.0,
        "step": "primary",
        "value": 0.97,
        "corrected": 0.95,
        "u": 0.02,
        "verdict": Verdict.IN_WINDOW,
        "probability": 0.999,
        "clear": True,
        "probabilities": {"in-window": 0.999, "above": 0.001},
    }
    return Judged(**(usual | other))  # type: ignore[arg-type]


def test_clear_says_that_being_off_would_change_nothing():
    said = sure_words(judged())
    assert said.startswith("Clear: within limits, even if 0.02")
    assert said.endswith("off either way (over 99 % sure).")


def test_close_says_what_else_it_may_be_and_what_helps():
    said = sure_words(
        judged(
            probability=0.83,
            clear=False,
            probabilities={"in-window": 0.83, "above": 0.168, "open": 0.002},
            advice="Take the lead zero again.",
        )
    )
    assert "83 % within limits, 17 % above limits. Take the lead zero again." in said
    assert "open" not in said


def test_an_over_range_says_how_it_is_known_that_the_probes_touched():
    hands = Hands(card(SECONDARY)).cautions()
    hands.read(0.1, 0.8).read(OVER, 3).read(0.1, 0.8).read(OVER, 1)
    said = sure_words(hands.last(Judged))
    assert said.startswith("Clear: over range with the probes on")
    assert "tapped together before and after" in said


@pytest.mark.parametrize("probability", [0.0, 1e-9, 0.004])
def test_nothing_is_said_to_be_impossible_or_certain(probability):
    assert percent(probability) == "under 1 %"
    assert percent(1 - probability) == "over 99 %"


@pytest.mark.parametrize(
    ("text", "value", "unit", "said"),
    [
        # Common practice, no published source: 84 lbf·in is 9.49 N·m. The factor is NIST SP 811's.
        ("84 lbf·in", 84 * 0.1129848290276167, "newton-metre", "84 lbf·in is 9.491 N·m"),
        ("0.012 in", 0.0003048, "metre", "0.012 in is 0.3048 mm"),
        ("68 °F", 20.0, "celsius", "68 °F is 20 °C"),
        ("0.30 mm", 0.0003, "metre", "0.30 mm"),
        ("9.5 Nm", 9.5, "newton-metre", "9.5 Nm"),
        ("19 °C", 19.0, "celsius", "19 °C"),
        ("4k7", 4700.0, "ohm", "4k7"),
        ("good", None, "", "good"),
    ],
)
def test_what_was_typed_in_another_unit_is_said_in_the_usual_one_too(text, value, unit, said):
    assert entered_words(Entered(t=0.0, step="x", text=text, value=value, unit=unit)) == said


def test_a_torque_in_another_unit_is_converted_where_it_is_told():
    hands = Hands(card(TORQUE)).cautions().tell(Enter(text="84 lbf·in"))
    told = Teller(hands.bench.card).tell(hands.last(Entered))
    assert told == "entered: 84 lbf·in is 9.491 N·m"


def test_the_budget_behind_a_verdict_comes_line_by_line_the_largest_first():
    budget = (Component(name="leads", u=0.003), Component(name="meter", u=0.004))
    event = judged(budget=budget, notes=("Something was assumed.",))
    lines = list(Teller(card(SECONDARY), ohm_sign=False).why(event))
    assert lines[0].startswith("Clear")
    assert [line.split()[0] for line in lines[1:4]] == ["accuracy", "lead", "together"]
    # 3 and 4 make 5 (root sum of squares, GUM 5.1.2), so 64 and 36 percent of the square.
    assert "64%" in lines[1]
    assert "36%" in lines[2]
    assert "5.0 mohm" in lines[3]
    # 0.02 is given as the expanded uncertainty: four times the 0.005 that the lines come to.
    assert lines[4].split() == ["times", "4.00", "0.020", "ohm", "95", "%"]
    assert lines[-1] == "Something was assumed."


def test_an_open_by_word_is_told_so():
    event = judged(value=None, corrected=None, u=None, verdict=Verdict.OPEN, evidence=Evidence.SAID)
    assert "Said by the technician, not measured" in sure_words(event)
    assert list(Teller(card(SECONDARY)).why(event))


def test_a_choice_is_told_in_the_words_of_the_card():
    cracks = (
        'kind = "entry"\nid = "cracks"\ntitle = "Cracks"\ntakes = "choice"\n'
        'choices = ["none", "some"]'
    )
    hands = Hands(card(cracks)).cautions().tell(Enter(text="none"))
    teller = Teller(hands.bench.card)
    assert teller.tell(hands.last(StepEnded)) == "done: Cracks: none"
    assert any(line.split() == ["Cracks", "none", "none"] for line in told_table(hands, teller))


def told_table(hands: Hands, teller: Teller) -> list[str]:
    return list(table(hands.bench.progress, teller))
