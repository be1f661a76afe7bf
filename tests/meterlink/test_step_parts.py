"""Insulation, leads by themselves and windings in series with something, each by its own rule."""

import pytest

from meterlink.commands import Confirm, Enter
from meterlink.events import Evidence, Judged, Verdict
from meterlink.judging.accuracy import Accuracy
from meterlink.profile import read_profile
from meterlink.source import Setting
from tests.meterlink.bench_hands import LEAD_ZERO, OVER, Hands, card

INSULATION = (
    'kind = "measurement"\nid = "insulation"\ntitle = "Insulation"\ninsulation = "insulation"'
)
LEAD = 'kind = "measurement"\nid = "lead"\ntitle = "Lead"\nlead = "plug lead"'
SUPPRESSED = 'kind = "measurement"\nid = "s"\ntitle = "S"\nwinding = "suppressed"'


@pytest.mark.parametrize(
    ("ohms", "outcome"), [(20e6, "open"), (2e6, "below"), (3.0, "short"), (11e6, "open")]
)
def test_insulation_is_good_from_its_least_value_on(ohms, outcome):
    hands = Hands(card(INSULATION)).cautions().touch(ohms, 3.0, step=max(0.01, ohms / 1e4))
    if outcome != "open":
        hands.touch(ohms, 3.0, step=max(0.01, ohms / 1e4))
    assert hands.outcomes["insulation"] == outcome


def test_insulation_that_reads_over_range_needs_evidence_that_the_probes_touch():
    hands = Hands(card(INSULATION)).cautions().read(OVER, 60)
    assert not hands.all(Judged)
    hands.tell(Confirm())
    assert not hands.all(Judged)
    hands.call_open()
    assert hands.last(Judged).evidence is Evidence.SAID
    assert hands.outcomes["insulation"] == "open"


def test_a_range_too_short_for_the_insulation_is_said_and_is_not_clear():
    hands = Hands(card(INSULATION)).cautions().set(Setting(range=6e6)).read(OVER, 3)
    judged = hands.call_open().last(Judged)
    assert not judged.clear
    assert "Choose a range that reaches 10 M" in judged.advice


@pytest.mark.parametrize(("ohms", "outcome"), [(0.4, "in-window"), (8.0, "above"), (50e3, "open")])
def test_a_lead_by_itself_is_judged_less_the_test_leads(ohms, outcome):
    hands = Hands(card(LEAD_ZERO, LEAD)).cautions().touch(0.2)
    for _ in range(1 if outcome == "in-window" else 2):
        hands.touch(ohms + 0.2, 3.0, step=0.001 if ohms < 10 else 1.0)
    assert hands.outcomes["lead"] == outcome


def test_what_lies_in_series_comes_off_before_copper_is_corrected():
    # (10.4 - 5) kohm of copper at 40 °C are 5.4 * 255/275 = 5.007 kohm at 20 °C (IEC 60034-1).
    ambient = 'kind = "entry"\nid = "a"\ntitle = "A"\ntakes = "temperature"'
    hands = Hands(card(ambient, SUPPRESSED)).cautions().tell(Enter(text="40 °C"))
    judged = hands.touch(10.4e3, step=1.0).last(Judged)
    assert judged.corrected == pytest.approx(5400 * 255 / 275, abs=3)
    assert judged.verdict is Verdict.IN_WINDOW
    assert "series" in {line.name for line in judged.budget}


def test_fingers_across_an_open_winding_with_much_in_series_still_mean_open():
    hands = Hands(card(SUPPRESSED)).cautions().touch(480e3, step=100.0)
    assert hands.last(Judged).verdict is Verdict.OPEN
    assert hands.last(Judged).evidence is Evidence.READ


def test_nothing_is_left_of_a_shorted_winding_once_its_cap_comes_off():
    hands = Hands(card(SUPPRESSED)).cautions().touch(5010.0, step=1.0)
    assert hands.last(Judged).verdict is Verdict.SHORT


def test_the_budget_of_a_low_winding_has_its_lead_zero_in_it():
    profile = read_profile(
        b'format = 1\nid = "p"\nname = "p"\n[[winding]]\nname = "suppressed"\n'
        b'between = ["a", "b"]\nlow = "0.7 ohm"\nhigh = "1 ohm"\nsource = "for this test"\n',
        "p.toml",
    )
    spec = (Accuracy(percent=0.8, counts=3),)
    hands = Hands(card(LEAD_ZERO, SUPPRESSED), profile, accuracy=spec).cautions().touch(0.2)
    names = {line.name for line in hands.touch(1.05).last(Judged).budget}
    assert names >= {"meter", "resolution", "leads", "temperature", "repeatability"}
