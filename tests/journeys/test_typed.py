"""Answers typed in words, by their beginnings, by number, and as nonsense, at every question."""

import random

import pytest

from meterlink.card import Step
from meterlink.steps.entry import ConfirmationStep, EntryStep
from tests.journeys.cues import Cues
from tests.journeys.engines import draw
from tests.journeys.families import NONSENSE
from tests.journeys.journey import Bench, Journey
from tests.journeys.judge import faults_of
from tests.journeys.player import Habits, Player
from tui.settings import CARDS, PROFILES

CHOSEN = [
    step for step in CARDS.get("no-spark").step if isinstance(step, EntryStep) and step.choices
]


class Abbreviating(Player):
    """Answers as a person in a hurry does: by the beginning of a word, by its number, shouting."""

    rng: random.Random

    def _enter(self, step: Step) -> None:
        assert isinstance(step, EntryStep)
        if step.takes != "choice":
            super()._enter(step)
            return
        answer = self.rng.choice(step.choices)
        self.said[step.id] = answer
        fewest = next(
            n
            for n in range(1, len(answer) + 1)
            if sum(other.startswith(answer[:n]) for other in step.choices) == 1
        )
        ways = (answer, answer[:fewest], answer[:fewest].upper())
        self._say(step, "enter", self.rng.choice((*ways, str(step.choices.index(answer) + 1))))

    def _answer(self, step: Step) -> None:
        assert isinstance(step, ConfirmationStep)
        answer = "no" if step.id == "spark" else step.good
        self.said[step.id] = answer
        ways = {"yes": ("yes", "y", "YES", "Yes"), "no": ("no", "n", "NO")}[answer]
        self._say(step, "enter", self.rng.choice(ways))


@pytest.mark.parametrize("face", ["plain", "100x30"])
@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_typed_is_what_is_recorded(tmp_path, face, seed):
    card, patient = CARDS.get("no-spark"), draw(PROFILES.get("pump-set-demo"), seed)
    words = ["--card", "no-spark", "--profile", "pump-set-demo", "--new", "pump 7"]
    habits = Habits(nonsense=NONSENSE[:3] if face == "plain" else ())
    with Bench(tmp_path, patient) as bench, bench.face(face, words) as opened:
        cues = Cues(tmp_path / "jobs", bench.clock.now, opened.alive)
        player = Abbreviating(opened, bench.hands, cues, card, patient, habits)
        player.play()
        opened.finish()
        journey = Journey(card, patient, face, habits, tmp_path, cues, player, opened.code)
        journey.shown, journey.errors = opened.shown(), opened.errors()
    assert not faults_of(journey)
    assert player.said.keys() >= {step.id for step in CHOSEN}


@pytest.mark.parametrize("seed", [1])
def test_a_letter_at_a_question_changes_no_setting(tmp_path, seed):
    patient = draw(PROFILES.get("pump-set-demo"), seed)
    words = ["--card", "no-spark", "--profile", "pump-set-demo", "--new", "pump 7"]
    settings = [*tmp_path.rglob("settings.toml")]
    assert not settings
    with Bench(tmp_path, patient) as bench, bench.face("80x24", words) as face:
        cues = Cues(tmp_path / "jobs", bench.clock.now, face.alive)
        player = Player(face, bench.hands, cues, CARDS.get("no-spark"), patient, Habits())
        player.habits.stop_before = 2
        player.play()
        cues.until(lambda: cues.current == "plug" and bool(cues.asked))
        (file,) = tmp_path.rglob("settings.toml")
        before = file.read_bytes()
        face.tell("enter", "fouled")
        cues.until(lambda: "plug" in cues.outcomes)
        assert cues.outcomes["plug"] == "fouled"
        face.tell("back")
        cues.until(lambda: "plug" not in cues.outcomes and bool(cues.asked))
        face.tell("enter", "good")
        cues.until(lambda: "plug" in cues.outcomes)
        assert cues.outcomes["plug"] == "good"
        assert file.read_bytes() == before
