"""Engines with faults, drawn as the fault table believes that they come in."""

from importlib import resources

import numpy as np

from meterlink.circuit import Engine, Switch, Winding
from meterlink.circuit.faults import Patient, afflict, slug
from meterlink.declared import Ohms
from meterlink.finding import Model, shipped_table
from meterlink.profile import Profile, read_profile

SWITCHES = {
    "stop switch": {"stop": "closed", "run": "open"},
    "brake switch": {"let go": "closed", "held": "open"},
    "throttle switch": {"stop": "closed", "open": "open"},
    "key switch": {"off": "closed", "on": "open"},
    "low-oil switch": {"low": "closed", "full": "open"},
    "seat switch": {"up": "closed", "down": "open"},
}


def demo_profile() -> Profile:
    """Return the shipped demonstration profile."""
    name = "pump-set-demo.toml"
    data = resources.files("meterlink").joinpath("data", "profiles", name).read_bytes()
    return read_profile(data, name)


def sound_engine(rng: np.random.Generator, *switches: str) -> Engine:
    """Return a sound engine inside the windows of the demonstration profile."""
    return Engine(
        name="portable pump set",
        primary=Winding(ohms=Ohms(rng.uniform(0.78, 0.92)), henries=0.003),
        secondary=Winding(ohms=Ohms(rng.uniform(4700, 6200)), henries=9.0),
        switch=tuple(
            Switch(name=name, positions=SWITCHES[name])  # type: ignore[arg-type]
            for name in ("stop switch", *switches)
        ),
    )


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
