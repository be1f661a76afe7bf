"""Families of journeys with trouble in them, each journey drawn from one seed."""

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from drivers.simulated.bench import LineFault, LineFaults
from tests.journeys.cues import Cues, NeverCameError
from tests.journeys.engines import FAULTS, draw
from tests.journeys.faces import Process
from tests.journeys.journey import (
    FACES,
    PLAYED_CARDS,
    PLAYED_PROFILES,
    SIZES,
    Bench,
    Journey,
    travel,
)
from tests.journeys.judge import faults_of, rulings
from tests.journeys.player import SLIPS, ZERO_SKIPPED, Habits, Player
from tui.settings import CARDS, PROFILES

NONSENSE: Final = ("perhaps", "?!", "12 bananas", "\x1b[31mred", "   ", "'; --", "Ω" * 40)
LINE_TROUBLES: Final = (LineFaults.DROP, LineFaults.NOT_A_NUMBER)
"""The line goes down and comes back, or one answer is no number."""


@dataclass
class Told:
    """What one journey came to."""

    faults: list[str] = field(default_factory=list)
    wrong_clear: list[str] = field(default_factory=list)
    steps: int = 0
    seeded: int = 0
    slips: int = 0
    verdicts: int = 0
    clear: int = 0


@dataclass(frozen=True)
class Lot:
    """Card, profile and the rest that a seed draws."""

    card: str
    profile: str
    fault: str
    rng: random.Random


def _lot(seed: int, family: str) -> Lot:
    rng = random.Random(f"{family} {seed}")
    return Lot(rng.choice(PLAYED_CARDS), rng.choice(PLAYED_PROFILES), rng.choice(FAULTS), rng)


def play(folder: Path, family: str, seed: int) -> Told:
    """Play the journey of this family and seed."""
    told = Told()
    try:
        FAMILIES[family](folder, _lot(seed, family), seed, told)
    except NeverCameError as fault:
        told.faults.append(str(fault))
    return told


def _sum_up(journey: Journey, told: Told) -> None:
    told.faults += faults_of(journey)
    told.faults += [f"gave up “{step}”" for step in journey.player.gave_up]
    told.faults += [f"a hasty confirm made “{made}”" for made in journey.player.hasty]
    told.steps += journey.player.steps
    told.seeded += len(journey.patient.faults)
    told.slips += len(journey.habits.done)
    for ruling in rulings(journey):
        told.verdicts += 1
        told.clear += ruling.clear
        if ruling.clear and ruling.wrong:
            told.wrong_clear.append(f"{ruling.step}: {ruling.outcome}, not {set(ruling.right)}")


def _faulty(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    patient = draw(PROFILES.get(lot.profile), seed, lot.fault)
    _sum_up(travel(folder, lot.card, patient, "plain", Habits()), told)


def _slipping(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    fault = lot.fault if seed % 2 else ""
    habits = Habits(slips=frozenset(lot.rng.sample(SLIPS, 3)))
    patient = draw(PROFILES.get(lot.profile), seed, fault)
    _sum_up(travel(folder, lot.card, patient, "plain", habits), told)


def _no_zero(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    habits = Habits(slips=frozenset({ZERO_SKIPPED, lot.rng.choice(SLIPS)}))
    patient = draw(PROFILES.get(lot.profile), seed)
    _sum_up(travel(folder, lot.card, patient, "plain", habits), told)


def _again(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    habits = Habits(again=("back", "redo")[seed % 2])
    patient = draw(PROFILES.get(lot.profile), seed, lot.fault)
    face = lot.rng.choice(["plain", "plain", *SIZES])
    _sum_up(travel(folder, lot.card, patient, face, habits), told)


def _babbling(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    habits = Habits(nonsense=(lot.rng.choice(NONSENSE),))
    patient = draw(PROFILES.get(lot.profile), seed)
    _sum_up(travel(folder, lot.card, patient, "plain", habits), told)


def _screened(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    habits = Habits(slips=frozenset(lot.rng.sample(SLIPS, 2)))
    patient = draw(PROFILES.get(lot.profile), seed, lot.fault)
    face = lot.rng.choice([*SIZES])
    _sum_up(travel(folder, lot.card, patient, face, habits), told)


def _happy(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    card = PLAYED_CARDS[seed % len(PLAYED_CARDS)]
    profile = PLAYED_PROFILES[seed // len(PLAYED_CARDS) % len(PLAYED_PROFILES)]
    face = FACES[seed // len(PLAYED_CARDS) // len(PLAYED_PROFILES) % len(FACES)]
    _sum_up(travel(folder, card, draw(PROFILES.get(profile), seed), face, Habits()), told)


def _broken_off(folder: Path, lot: Lot, seed: int, told: Told, *, kill: bool) -> None:
    """Stop at some step: by a kill, or as the line to the meter goes down for a while."""
    card = CARDS.get(lot.card)
    patient = draw(PROFILES.get(lot.profile), seed, lot.fault)
    stop_at = lot.rng.randint(1, 9)
    words = ["--card", lot.card, "--profile", lot.profile, "--new", "pump 7"]
    words += ["--accuracy", "0.05%+4"]
    with Bench(folder, patient) as bench:
        habits = Habits(stop_before=stop_at)
        with bench.face("pipe" if kill else "plain", words) as face:
            cues = Cues(folder / "jobs", bench.clock.now, face.alive)
            player = Player(face, bench.hands, cues, card, patient, habits)
            player.play()
            habits.stop_before = -1
            if kill and not cues.ended:
                assert isinstance(face, Process)
                face.kill()
            else:
                what = lot.rng.choice(LINE_TROUBLES)
                bench.simulated.trouble(LineFault(what=what, after=3, times=1))
                player.play()
                face.finish()
            told.slips += 1
        if kill and not cues.ended:
            bench.hands.lift()
            again = ["--job", "pump 7", "--accuracy", "0.05%+4"]
            with bench.face(lot.rng.choice(["pipe", "pipe", *SIZES]), again) as face:
                cues.follow(face.alive)
                player.face = face
                player.play()
                face.finish()
        if cues.ended:
            journey = Journey(card, patient, face.name, habits, folder, cues, player)
            journey.code, journey.shown = face.code, face.shown()
            journey.errors, journey.screen = face.errors(), face.last_screen()
            _sum_up(journey, told)


def _killed(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    _broken_off(folder, lot, seed, told, kill=True)


def _unplugged(folder: Path, lot: Lot, seed: int, told: Told) -> None:
    _broken_off(folder, lot, seed, told, kill=False)


FAMILIES: Final[Mapping[str, Callable[[Path, Lot, int, Told], None]]] = {
    "faulty": _faulty,
    "slips": _slipping,
    "no-zero": _no_zero,
    "again": _again,
    "nonsense": _babbling,
    "killed": _killed,
    "unplugged": _unplugged,
    "screen": _screened,
    "happy": _happy,
}
