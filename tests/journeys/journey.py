"""One journey: card, profile, engine, face and person, from the first step to the end."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Self

from drivers.simulated.bench import SimulatedBench
from meterlink.card import Card
from tests.journeys.cues import Cues, NeverCameError
from tests.journeys.engines import Patient
from tests.journeys.faces import Plain, Process
from tests.journeys.hands import Hands, Hurried
from tests.journeys.player import Habits, Player
from tests.journeys.screens import Screen
from tui.settings import CARDS, PROFILES

SIZES: Final = {"80x24": (80, 24), "100x30": (100, 30), "140x40": (140, 40)}
SPEED: Final = {"plain": 60.0, "pipe": 60.0, "pty": 60.0}
"""How much faster than the world; the screen has pictures to paint meanwhile."""
FACES: Final = ("plain", *SIZES)
PLAYED_CARDS: Final = tuple(found.name for found in CARDS.all())
PLAYED_PROFILES: Final = tuple(found.name for found in PROFILES.all())


@dataclass
class Journey:
    """What came of it."""

    card: Card
    patient: Patient
    face: str
    habits: Habits
    folder: Path
    cues: Cues
    player: Player
    code: int | None = None
    shown: str = ""
    errors: str = ""
    screen: str = ""
    troubles: list[str] = field(default_factory=list)


class Bench:
    """A virtual bench that a program can be begun at, any number of times."""

    def __init__(self, folder: Path, patient: Patient, speed: float = 60.0) -> None:
        self.folder = folder
        self.clock_file = folder / "clock"
        self.clock = Hurried(self.clock_file, speed)
        self.simulated = SimulatedBench(patient.scenario(), seed=patient.seed, clock=self.clock)

    def __enter__(self) -> Self:
        self.simulated.__enter__()
        self.hands = Hands(self.simulated, self.clock)
        return self

    def __exit__(self, *exc: object) -> None:
        self.simulated.close()

    def face(self, kind: str, argv: list[str]) -> Any:
        """Return a program that is to be begun with ``argv``, by the kind of its face."""
        words = ["bench", "--port", self.simulated.port, *argv, "--jobs", str(self.folder / "jobs")]
        words += ["--who", "Ines"]
        if kind == "plain":
            return Plain(self.folder, self.clock, words)
        if kind in ("pipe", "pty"):
            return Process(self.folder, self.clock_file, words, pty=kind == "pty")
        return Screen(self.folder, self.clock, words, SIZES[kind])


def travel(folder: Path, card_name: str, patient: Patient, kind: str, habits: Habits) -> Journey:
    """Play one card to its end."""
    card = CARDS.get(card_name)
    accuracy = f"{0.05}%+4"
    argv = ["--card", card_name, "--profile", patient.profile.id, "--new", "pump 7"]
    argv += ["--accuracy", accuracy]
    with Bench(folder, patient, SPEED.get(kind, 80.0)) as bench, bench.face(kind, argv) as face:
        cues = Cues(folder / "jobs", bench.clock.now, face.alive)
        player = Player(face, bench.hands, cues, card, patient, habits)
        journey = Journey(card, patient, kind, habits, folder, cues, player)
        try:
            player.play()
            face.finish()
        except NeverCameError as fault:
            raise NeverCameError(f"{fault} {face.errors()[-600:]}") from None
        journey.code, journey.shown = face.code, face.shown()
        journey.errors, journey.screen = face.errors(), face.last_screen()
    cues.look()
    return journey
