"""Engines with faults, drawn as the fault table believes that they come in."""

from importlib import resources

import numpy as np

from meterlink.circuit import Engine
from meterlink.circuit.faults import Patient, afflict, slug
from meterlink.finding import Model, shipped_table
from meterlink.practice import engines
from meterlink.practice.engines import SWITCHES
from meterlink.profile import Profile, read_profile


def demo_profile() -> Profile:
    """Return the shipped demonstration profile."""
    name = "pump-set-demo.toml"
    data = resources.files("meterlink").joinpath("data", "profiles", name).read_bytes()
    return read_profile(data, name)


def sound_engine(rng: np.random.Generator, *switches: str) -> Engine:
    """Return a sound engine inside the windows of the demonstration profile."""
    return engines.sound_engine(rng, switches)


class Intake:
    """Draws engines with their complaint and fault; models are made once for each kind."""

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        self._models: dict[tuple[str, tuple[str, ...]], Model] = {}

    def draw(self) -> tuple[Model, Patient, str]:
        """Return the model of the job, the engine, and the place where its fault is."""
        rng = self._rng
        complaint = str(rng.choice(list(shipped_table().complaints), p=[0.6, 0.2, 0.2]))
        more = rng.choice(list(SWITCHES)[1:], size=rng.integers(0, 3), replace=False)
        switches = tuple(sorted(map(str, more)))
        key = (complaint, switches)
        if key not in self._models:
            parts = [slug(name) for name in ("stop switch", *switches)]
            self._models[key] = Model(shipped_table(), complaint, parts)
        model = self._models[key]
        suspect = model.suspects[int(rng.choice(len(model.prior), p=model.prior))]
        engine = sound_engine(rng, *switches)
        return model, afflict(engine, suspect.name, complaint, rng), suspect.place
