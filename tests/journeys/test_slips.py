"""Faults of the engine, slips of the hands, a cable that comes off, a kill, and second thoughts.

A sample of seeds; ``long.py`` plays as many as there is time for.
"""

import pytest

from drivers.simulated.bench import LineFaults
from tests.journeys import families
from tests.journeys.engines import draw
from tests.journeys.families import FAMILIES, play
from tests.journeys.journey import travel
from tests.journeys.judge import rulings
from tests.journeys.player import TAPPED_ON_IT, ZERO_ON_WORK, ZERO_SKIPPED, Habits
from tui.settings import PROFILES

QUICK = [(name, seed) for name in FAMILIES if name not in ("happy", "no-zero") for seed in (1, 2)]


@pytest.mark.parametrize(("family", "seed"), QUICK)
def test_a_journey_with_trouble_comes_to_its_end_and_to_the_truth(tmp_path, family, seed):
    told = play(tmp_path, family, seed)
    assert not told.faults
    assert not told.wrong_clear


def test_a_winding_held_in_place_of_the_tips_makes_no_clear_short(tmp_path):
    habits = Habits(slips=frozenset({ZERO_ON_WORK}))
    patient = draw(PROFILES.get("pump-set-demo"), 2)
    journey = travel(tmp_path, "ignition-check", patient, "plain", habits)
    assert not [ruling for ruling in rulings(journey) if ruling.wrong and ruling.clear]


@pytest.mark.parametrize("seed", [2, 3])
def test_a_shorted_winding_held_in_place_of_the_tips_is_found_short_all_the_same(tmp_path, seed):
    # It has what leads have, so no reading tells them apart; but then it reads nothing more.
    habits = Habits(slips=frozenset({ZERO_ON_WORK}))
    patient = draw(PROFILES.get("pump-set-demo"), seed, "primary-short")
    journey = travel(tmp_path, "ignition-check", patient, "plain", habits)
    assert journey.cues.outcomes["primary"] == "short"
    assert not [ruling for ruling in rulings(journey) if ruling.wrong]


def test_a_lead_zero_left_out_makes_no_clear_fault(tmp_path):
    patient = draw(PROFILES.get("pump-set-demo"), 5005)
    habits = Habits(slips=frozenset({ZERO_SKIPPED}))
    journey = travel(tmp_path, "ignition-check", patient, "plain", habits)
    assert not [ruling for ruling in rulings(journey) if ruling.wrong and ruling.clear]


def test_taps_on_too_low_a_range_make_no_clear_open(tmp_path):
    habits = Habits(slips=frozenset({"wrong-range", TAPPED_ON_IT}))
    patient = draw(PROFILES.get("pump-set-demo"), 2)
    journey = travel(tmp_path, "ignition-check", patient, "plain", habits)
    assert not [ruling for ruling in rulings(journey) if ruling.wrong and ruling.clear]


def test_half_an_answer_ends_no_sitting(tmp_path, monkeypatch):
    monkeypatch.setattr(families, "LINE_TROUBLES", (LineFaults.HALF,))
    assert not play(tmp_path, "unplugged", 5).faults
