"""Engines with faults, drawn as the fault table believes that they come in."""

from collections.abc import Iterator
from importlib import resources

import numpy as np

from meterlink.circuit.engine import Engine
from meterlink.circuit.faults import Patient, afflict, slug
from meterlink.finding.model import Model
from meterlink.finding.table import shipped_table
from meterlink.profile import Profile, read_profile
from meterlink.training import case
from meterlink.training.case import STOP_SWITCH, SWITCHES


def demo_profile() -> Profile:
    """Return the shipped demonstration profile."""
    name = "pump-set-demo.toml"
    data = resources.files("meterlink").joinpath("data", "profiles", name).read_bytes()
    return read_profile(data, name)


def sound_engine(rng: np.random.Generator, *switches: str) -> Engine:
    """Return a sound engine inside the windows of the demonstration profile."""
    return case.sound_engine(rng, switches)


class Intake:
    """Draws engines with their complaint and fault; models are made once for each kind."""

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        self._models: dict[tuple[str, tuple[str, ...]], Model] = {}

    def draw(self) -> tuple[Model, Patient, str]:
        """Return the model of the job, the engine, and the place where its fault is."""
        rng = self._rng
        complaint = str(rng.choice(list(shipped_table().complaints), p=[0.6, 0.2, 0.2]))
        switches = self._switches()
        model = self._model(complaint, switches)
        suspect = model.suspects[int(rng.choice(len(model.alone), p=model.alone))]
        engine = sound_engine(rng, *switches)
        return model, afflict(engine, suspect.name, complaint, rng), suspect.place

    def draw_each(self, count: int) -> Iterator[tuple[Model, Patient, str]]:
        """Yield the same for ``count`` engines of every complaint and fault, however rare."""
        for complaint in shipped_table().complaints:
            for suspect in self._model(complaint, tuple(SWITCHES)[1:]).suspects:
                own = [name for name in SWITCHES if suspect.part == slug(name)]
                for _ in range(count):
                    switches = tuple(sorted({*self._switches(), *own} - {STOP_SWITCH}))
                    engine = sound_engine(self._rng, *switches)
                    patient = afflict(engine, suspect.name, complaint, self._rng)
                    yield self._model(complaint, switches), patient, suspect.place

    def _switches(self) -> tuple[str, ...]:
        """Draw what an engine has beside its stop switch."""
        rng = self._rng
        more = rng.choice(list(SWITCHES)[1:], size=rng.integers(0, 3), replace=False)
        return tuple(sorted(map(str, more)))

    def _model(self, complaint: str, switches: tuple[str, ...]) -> Model:
        key = (complaint, switches)
        if key not in self._models:
            parts = [slug(name) for name in (STOP_SWITCH, *switches)]
            self._models[key] = Model(shipped_table(), complaint, parts)
        return self._models[key]
