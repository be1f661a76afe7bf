"""The temperature of the parts: typed, from a thermocouple, or unknown; and four wires."""

import pytest

from meterlink.commands import Confirm, Enter, Redo
from meterlink.events import Asked, Entered, Judged, Verdict
from meterlink.judging.accuracy import Accuracy
from meterlink.profile import Profile, read_profile
from meterlink.reading import Quantity
from meterlink.source import Setting
from tests.meterlink.bench_hands import AMBIENT, LEAD_ZERO, PRIMARY, SECONDARY, Hands, card


def profile(*lines: str) -> Profile:
    text = (
        'format = 1\nid = "p"\nname = "p"\n[[winding]]\nname = "primary"\n'
        'between = ["terminal", "laminations"]\nlow = "0.7 ohm"\nhigh = "1.0 ohm"\n'
        'source = "for this test"\n'
    )
    return read_profile((text + "\n".join(lines)).encode(), "p.toml")


THERMOCOUPLE = profile('temperature = "thermocouple"')
UNKNOWN = profile('temperature = "unknown"')
FOUR_WIRE = profile("four_wire = true")


def test_a_thermocouple_reading_is_taken_once_the_technician_says_it_is_on_the_part():
    hands = Hands(card(AMBIENT, PRIMARY)).cautions()
    hands.read(40.0, 3, step=0.1, quantity=Quantity.TEMPERATURE)
    assert "ambient" not in hands.outcomes
    assert "Confirm takes it" in hands.last(Asked).say
    hands.tell(Confirm(who="Ines"))
    taken = hands.last(Entered)
    assert (taken.unit, taken.how, taken.who) == ("celsius", "probes", "Ines")
    assert taken.value == pytest.approx(40.0, abs=0.2)
    # IEC 60034-1, k = 235.
    hands.touch(1.02)
    assert hands.last(Judged).corrected == pytest.approx(1.02 * 255 / 275, abs=0.002)


def test_a_sensor_in_the_wrong_place_is_asked_about():
    hands = Hands(card(AMBIENT)).cautions()
    hands.read(300.0, 3, step=0.1, quantity=Quantity.TEMPERATURE).tell(Confirm())
    assert "outside -20 to 60" in hands.last(Asked).say
    assert "ambient" not in hands.outcomes


def test_ohms_are_no_temperature():
    hands = Hands(card(AMBIENT)).cautions().read(40.0, 3, step=0.1).tell(Confirm())
    assert "ambient" not in hands.outcomes


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (THERMOCOUPLE, "turn the meter to temperature"),
        (UNKNOWN, "stays unknown"),
        (profile(), "lain in a room"),
    ],
)
def test_the_question_says_how_the_temperature_is_expected_to_be_had(given, words):
    hands = Hands(card(AMBIENT), given).cautions()
    assert words in hands.last(Asked).say


def test_the_meter_is_asked_for_degrees_only_where_a_thermocouple_is_expected():
    assert Hands(card(AMBIENT), THERMOCOUPLE).cautions().bench.setup.quantity is (
        Quantity.TEMPERATURE
    )
    assert Hands(card(AMBIENT), profile()).cautions().bench.setup is None


def test_an_unknown_temperature_leaves_the_wider_uncertainty():
    def u(given: Profile, text: str) -> float:
        hands = Hands(card(AMBIENT, LEAD_ZERO, PRIMARY), given).cautions().tell(Enter(text=text))
        return float(hands.touch(0.1).touch(0.95).last(Judged).u)

    assert u(profile(), "unknown") > 3 * u(profile(), "20 °C")
    assert u(UNKNOWN, "20 °C") == pytest.approx(u(profile(), "unknown"), rel=0.05)


def test_a_temperature_that_is_not_the_windings_own_corrects_nothing():
    hands = Hands(card(AMBIENT, PRIMARY), UNKNOWN).cautions().tell(Enter(text="40 °C"))
    judged = hands.touch(0.85).last(Judged)
    assert judged.corrected == pytest.approx(0.85, abs=0.002)
    assert any("not known" in note for note in judged.notes)


# --- four wires -------------------------------------------------------------------------------


def test_four_wires_are_asked_for_where_the_profile_says_so():
    hands = Hands(card(PRIMARY), FOUR_WIRE).cautions()
    assert hands.bench.setup.four_wire
    assert "Four wires" in hands.last(Asked).say
    assert not Hands(card(PRIMARY)).cautions().bench.setup.four_wire
    assert Hands(card(f"{PRIMARY}\nfour_wire = true")).cautions().bench.setup.four_wire


def test_no_lead_zero_comes_off_four_wires_and_the_record_says_so():
    hands = Hands(card(LEAD_ZERO, PRIMARY), FOUR_WIRE).cautions().touch(0.2)
    judged = hands.set(Setting(four_wire=True)).touch(0.85).last(Judged)
    assert judged.corrected == pytest.approx(0.85, abs=0.002)
    assert any("four wires" in note for note in judged.notes)
    assert "leads" not in {line.name for line in judged.budget}


def test_a_meter_that_has_only_two_keeps_the_lead_zero():
    spec = (Accuracy(percent=0.5, counts=2),)
    hands = Hands(card(LEAD_ZERO, PRIMARY), FOUR_WIRE, accuracy=spec).cautions().touch(0.2)
    judged = hands.set(Setting(lost=("two wires only",))).touch(1.05).last(Judged)
    assert judged.corrected == pytest.approx(0.85, abs=0.003)
    assert "leads" in {line.name for line in judged.budget}
    assert not any("four wires" in note for note in judged.notes)


# --- corrections ------------------------------------------------------------------------------


def test_a_corrected_temperature_judges_the_held_values_again():
    # 1.04 ohm at 20 °C is above; at 40 °C it is 1.04 * 255/275 = 0.964 ohm (IEC 60034-1).
    hands = Hands(card(AMBIENT, PRIMARY, SECONDARY)).cautions().tell(Enter(text="20 °C"))
    hands.twice(1.04)
    assert hands.outcomes["primary"] == "above"
    hands.tell(Redo(step="ambient", reason="misread")).tell(Enter(text="40 °C"))
    again = hands.last(Judged)
    assert again.verdict is Verdict.IN_WINDOW
    assert again.corrected == pytest.approx(1.04 * 255 / 275, abs=0.003)
    assert any("Judged again" in note for note in again.notes)
    assert hands.outcomes["primary"] == "in-window"
    verdicts = [e.verdict for e in hands.all(Judged)]
    assert verdicts == [Verdict.ABOVE, Verdict.ABOVE, Verdict.IN_WINDOW]
    assert hands.bench.progress.current == "secondary"


def test_a_lead_zero_taken_again_judges_the_held_values_again():
    hands = Hands(card(LEAD_ZERO, PRIMARY, SECONDARY)).cautions().touch(0.5).twice(1.15)
    assert hands.outcomes["primary"] == "below"
    hands.tell(Redo(step="lead-zero", reason="the tips were dirty")).touch(0.25)
    assert hands.last(Judged).corrected == pytest.approx(0.9, abs=0.004)
    assert hands.outcomes["primary"] == "in-window"


def test_a_correction_that_changes_nothing_judges_nothing_again():
    hands = Hands(card(AMBIENT, PRIMARY, SECONDARY)).cautions().tell(Enter(text="20 °C"))
    hands.touch(0.85).tell(Redo(step="ambient")).tell(Enter(text="20 °C"))
    assert len(hands.all(Judged)) == 1


def test_a_typed_reading_is_judged_again_too():
    hands = Hands(card(AMBIENT, PRIMARY, SECONDARY)).cautions().tell(Enter(text="20 °C"))
    hands.tell(Enter(text="1.04 ohm")).tell(Redo(step="ambient")).tell(Enter(text="40 °C"))
    assert hands.outcomes["primary"] == "in-window"


def test_a_break_in_the_middle_of_a_correction_loses_none_of_it():
    hands = Hands(card(AMBIENT, PRIMARY, SECONDARY)).cautions().tell(Enter(text="20 °C"))
    hands.twice(1.04).tell(Redo(step="ambient", reason="misread")).tell(Enter(text="40 °C"))
    corrected = hands.events.index(hands.last(Entered))
    again = Hands(hands.bench.card, past=hands.events[: corrected + 1])
    again.tell(Enter(text="40 °C"))
    assert again.bench.progress.outcome("primary") == "in-window"
