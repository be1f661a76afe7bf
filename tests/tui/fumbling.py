"""Seeded sittings with everything in them that can go wrong, recorded by the program's own session.

A meter whose readings wander, bounce, repeat their time or make no sense; a person who says
anything at any moment; a plug that slips; a meter that refuses what a step asks of it.
"""

import math
import random
import threading
from collections.abc import Iterator
from pathlib import Path

from captures.job.store import JobStore
from meterlink.commands import AnyCommand, Back, Confirm, Deny, Enter, Redo, Skip, Zero
from meterlink.errors import MeterError
from meterlink.events import Gap
from meterlink.judging.accuracy import Accuracy
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop
from tui.session.session import Session
from tui.session.setup import resume_job, session, settings_of
from tui.settings import CARDS, PROFILES

PLACES = (0.13, 0.31, 0.86, 0.99, 1.3, 5200.0, 7010.0, 480e3, 3e7)
STEPS = ("lead-zero", "primary", "secondary", "stop-switch", "")
TYPED = ("19 °C", "unknown", "0.84 ohm", "OL", "4k7", "nonsense", "good", "0.3 mm", "65 N·m")


class Wandering:
    """A meter that is put on one thing after another."""

    identity = Identity(model="wandering", port="test")

    def __init__(self, rng: random.Random, count: int) -> None:
        self._rng = rng
        self._left = count
        self.t = 0.0

    def now(self) -> float:
        """Time of the newest reading: the clock of the sitting."""
        return self.t

    def prepare(self, setup: MeterSetup) -> Setting:
        if self._rng.random() < 0.2:
            raise MeterError("the meter has no such quantity; turn its knob")
        full_scale = self._rng.choice((None, 10.0, 1e4, 1e8))
        resolution = None if full_scale is None else full_scale / 1e5
        return Setting(quantity=setup.quantity, range=full_scale, resolution=resolution)

    def confirm(self, setup: MeterSetup) -> Setting:
        return self.prepare(setup)

    def readings(self, stop: Stop) -> Iterator[Reading]:
        pause = self._rng.choice((0.02, 0.06, 0.1, 0.33))
        while self._left > 0:
            place = None if self._rng.random() < 0.4 else self._rng.choice(PLACES)
            noise = self._rng.choice((0.0, 1e-4, 1e-3, 0.05))
            for _ in range(self._rng.randint(1, 40)):
                self._left -= 1
                self.t += pause * self._rng.choice((1.0, 1.0, 1.0, 1.3, 0.0, 40.0))
                yield self._reading(place, noise)

    def _reading(self, place: float | None, noise: float) -> Reading:
        odd = self._rng.random()
        if odd < 0.01:
            return Reading(self.t, math.nan, raw="9.91E37")
        if odd < 0.02:
            return Reading(self.t - 0.5, 1.0)
        if odd < 0.03:
            return Reading(self.t, 0.2, Quantity.VOLTAGE)
        if place is None or odd < 0.06:
            return Reading(self.t, math.inf, overload=True, raw="OL")
        value = place * (1 + noise * self._rng.gauss(0, 1))
        return Reading(self.t, value, resolution=self._rng.choice((None, place * 1e-4)))

    def close(self) -> None:
        pass


def anything(rng: random.Random) -> AnyCommand:
    """Return what a person might say."""
    return rng.choice(
        (
            Confirm(who="Ines"),
            Confirm(),
            Confirm(),
            Deny(),
            Redo(step=rng.choice(STEPS), reason="not sure"),
            Skip(reason="no time"),
            Back(),
            Zero(),
            Enter(text=rng.choice(TYPED)),
        )
    )


def fumble(root: Path, seed: int, readings: int = 250) -> list[Path]:
    """Work one job in ``root``, taken up again once for every second seed; return its captures."""
    rng = random.Random(seed)
    card = CARDS.get(rng.choice(("ignition-check", "spare-armature", "stop-circuit", "no-spark")))
    profile = PROFILES.get(rng.choice(("pump-set-demo", "pump-set-suppressed", "pump-set-module")))
    accuracy = rng.choice(((), (Accuracy(percent=0.8, counts=3),)))
    store = JobStore(root)
    with store.create(f"job {seed}", settings=settings_of(card, profile)) as job:
        name = job.folder.name
        source = Wandering(rng, readings)
        with session(job, source, source, card, profile, accuracy=accuracy) as sitting:
            _work(sitting, source, rng)
    if seed % 2:
        resumed = resume_job(store, name)
        assert resumed is not None
        source = Wandering(rng, readings)
        with (
            resumed.job as job,
            session(
                job, source, source, card, profile, accuracy=accuracy, past=resumed.past
            ) as sitting,
        ):
            _work(sitting, source, rng)
    return store.job(name).captures()


def _work(sitting: Session, source: Wandering, rng: random.Random) -> None:
    def fumbles() -> None:
        chance = rng.random()
        if chance < 0.03:
            sitting.tell(anything(rng))
        elif chance < 0.033:
            sitting.gap(Gap(t=source.t, until=None, why="the plug slipped"))
            source.t += 2.0
            sitting.gap(Gap(t=source.t - 2.0, until=source.t, why="the plug slipped"))
        elif chance < 0.036:
            sitting.turned(Setting(quantity=Quantity.RESISTANCE, range=rng.choice((10.0, 1e6))))

    sitting.between = fumbles
    sitting.run(threading.Event())
    if rng.random() < 0.5:  # the screen goes on taking commands after the last reading
        sitting.tell(anything(rng))
        source._left = 60
        sitting.run(threading.Event())
