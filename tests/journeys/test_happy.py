"""Every card with every profile through every face, to its end, on a sound engine.

Cards and profiles are found where the program finds them: a new one is played from then on. The
screen takes its time, so each pair is played at one of the sizes, in turn; ``JOURNEYS=all`` plays
every pair at every size, and so does the family “happy” of ``long.py``.
"""

import os
import zlib

import pytest

from tests.journeys.engines import draw
from tests.journeys.journey import PLAYED_CARDS, PLAYED_PROFILES, SIZES, travel
from tests.journeys.judge import faults_of, rulings
from tests.journeys.player import Habits
from tui.settings import PROFILES

WHOLE = os.environ.get("JOURNEYS") == "all"
SIZED = tuple(SIZES)
EVERY = [
    (card, profile, face)
    for at, card in enumerate(PLAYED_CARDS)
    for turn, profile in enumerate(PLAYED_PROFILES)
    for face in ("plain", *(SIZED if WHOLE else (SIZED[(at + turn) % len(SIZED)],)))
]


@pytest.mark.parametrize(("card", "profile", "face"), EVERY)
def test_a_sound_engine_comes_to_the_end_of_the_card(tmp_path, card, profile, face):
    seed = zlib.crc32(f"{card} {profile} {face}".encode())
    patient = draw(PROFILES.get(profile), seed)
    journey = travel(tmp_path, card, patient, face, Habits(no_spark=True))
    assert not faults_of(journey)
    assert not journey.player.gave_up
    assert not [ruling for ruling in rulings(journey) if ruling.wrong]


@pytest.mark.parametrize("card", ["dies-hot"])
def test_a_soak_is_logged_to_its_last_second(tmp_path, card):
    patient = draw(PROFILES.get("pump-set-demo"), 5)
    journey = travel(tmp_path, card, patient, "plain", Habits(whole_soak=True))
    assert not faults_of(journey)
    assert journey.cues.after(0, "soak-point")[-1]["t"] > 600


@pytest.mark.parametrize("face", ["pipe", "pty"])
def test_a_process_of_its_own_does_the_same(tmp_path, face):
    if face == "pty":
        pytest.importorskip("pty")
    patient = draw(PROFILES.get("pump-set-suppressed"), 11)
    journey = travel(tmp_path, "no-spark", patient, face, Habits())
    assert not faults_of(journey)
    assert not journey.player.gave_up
