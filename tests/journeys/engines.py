"""Virtual engines, one a seed, for any profile; and what a careful hand would find on them.

The spreads are the rig's own, not those that the practice or the fault table draw from: values lie
anywhere in a window or well outside of it, on a scale of ratios. What is expected of a step is
worked out here from the circuit's resistance and the profile's limits alone.
"""

from dataclasses import dataclass, field
from math import inf
from typing import Any, Final

import numpy as np
from msgspec.structs import replace
from numpy.random import Generator

from drivers.simulated.meter import MeterCharacter
from drivers.simulated.scenario import BenchAtStart, Scenario
from meterlink.card import Card, Step
from meterlink.circuit.engine import (
    Engine,
    EngineCondition,
    EngineSwitch,
    EngineWinding,
    StopWire,
    Unseen,
    connector,
)
from meterlink.circuit.wiring import resistance_between
from meterlink.profile import Profile
from meterlink.quantities.units import Celsius, Ohms
from meterlink.steps.entry import EntryStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.soak import SoakStep
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import WatchStep

FAULTS: Final = (
    *("primary-open", "primary-short", "primary-low", "primary-high"),
    *("secondary-open", "secondary-short", "secondary-low", "secondary-high"),
    *("lead-open", "lead-high", "earth-poor", "wire-chafed", "wire-chafes-moved"),
    *("switch-stuck", "switch-never", "plug-fouled", "magnet-weak", "gap-wide"),
)
"""Families of faults that a seed can draw from."""
_CANNOT: Final = frozenset({"cannot-tell"})
METER: Final = MeterCharacter(overhead=0.06, percent=0.05)  # type: ignore[arg-type]
"""Some twelve readings a second."""


@dataclass(frozen=True)
class Patient:
    """An engine on the bench, and what was done to it."""

    profile: Profile
    engine: Engine
    seed: int
    faults: tuple[str, ...] = ()
    leads: float = 0.13
    ambient: float = 20.0
    start: dict[str, str] = field(default_factory=dict)

    def scenario(self) -> Scenario:
        """Return the bench for it, with hands that do nothing of themselves."""
        return Scenario(
            format=1,
            id=f"engine-{self.seed}",
            title=f"engine {self.seed}",
            engine=self.engine,
            bench=BenchAtStart(
                ambient=Celsius(self.ambient), leads=Ohms(self.leads), controls=self.start
            ),
            meter=METER,
        )


def draw(profile: Profile, seed: int, fault: str = "") -> Patient:
    """Return a sound engine for ``profile``, or one with ``fault``, which is one of ``FAULTS``."""
    rng = np.random.default_rng([seed, 71])
    entries = {entry.name: entry for entry in profile.winding}
    cap = _cap(profile, rng)
    switches = tuple(
        EngineSwitch(
            name=entry.name,
            positions=dict(entry.positions),
            closed=Ohms(rng.uniform(0.02, 0.2)),
            earth=Ohms(rng.uniform(0.01, 0.06)),
        )
        for entry in profile.switch
    )
    engine = Engine(
        name=f"pump set {seed}",
        primary=EngineWinding(ohms=_within(entries.get("primary"), 0.85, rng), henries=0.003),
        secondary=EngineWinding(ohms=_within(entries.get("secondary"), 5200.0, rng), henries=6.0),
        lead=Ohms(rng.uniform(0.1, 0.8)),
        cap=Ohms(cap),
        switch=switches,
        unseen=Unseen(gap_mm=_gap(profile, rng)),
    )
    if fault:
        engine = _spoilt(engine, profile, fault, rng)
    opened = {s.name: _position(s, "open") for s in switches}
    return Patient(
        profile,
        engine,
        seed,
        (fault,) if fault else (),
        leads=float(rng.uniform(0.06, 0.3)),
        start={"stop wire": "off", "plug lead": "off", **opened},
    )


def _within(entry: Any, usual: float, rng: Generator) -> Ohms:
    """Anywhere within limits but its outermost tenths, even on a scale of ratios."""
    low, high = getattr(entry, "low", None), getattr(entry, "high", None)
    if low is None or high is None:
        return Ohms(usual * rng.uniform(0.9, 1.1))
    edge = (high / low) ** 0.12
    return Ohms(low * edge * (high / low / edge**2) ** rng.random())


def _cap(profile: Profile, rng: Generator) -> float:
    for entry in profile.winding:
        if entry.name == "secondary" and entry.series:
            return float(entry.series * rng.uniform(0.97, 1.03))
    return float(rng.uniform(0.1, 1.0))


def _gap(profile: Profile, rng: Generator) -> float:
    for entry in profile.gap:
        if entry.name == "armature":
            return round(float(rng.uniform(entry.low, entry.high)) * 1e3, 2)
    return 0.3


def _position(switch: EngineSwitch, state: str) -> str:
    return next(p for p, s in switch.positions.items() if s == state)


def _spoilt(engine: Engine, profile: Profile, fault: str, rng: Generator) -> Engine:
    part, _, how = fault.partition("-")
    if part in ("primary", "secondary"):
        winding: EngineWinding = getattr(engine, part)
        entry = next((e for e in profile.winding if e.name == part), None)
        return replace(engine, **{part: replace(winding, ohms=_bad(winding, entry, how, rng))})
    if part == "switch" and engine.switch:
        at = int(rng.integers(len(engine.switch)))
        stuck = Ohms(10 ** rng.uniform(-1.3, 0.0))
        change = {"open": stuck} if how == "stuck" else {"closes": False}
        bad = replace(engine.switch[at], **change)
        return replace(engine, switch=(*engine.switch[:at], bad, *engine.switch[at + 1 :]))
    chafe = Ohms(10 ** rng.uniform(-1, 0.3))
    changes: dict[str, dict[str, object]] = {
        "lead-open": {"lead": None},
        "lead-high": {"lead": Ohms(10 ** rng.uniform(3.7, 4.6))},
        "earth-poor": {"armature_earth": Ohms(10 ** rng.uniform(0.4, 3))},
        "wire-chafed": {"stop_wire": StopWire(chafe=chafe)},
        "wire-chafes-moved": {"stop_wire": StopWire(chafe=chafe, chafes="moved")},
        "plug-fouled": {"unseen": replace(engine.unseen, plug="fouled")},
        "magnet-weak": {"unseen": replace(engine.unseen, pull="weak")},
        "gap-wide": {"unseen": replace(engine.unseen, gap_mm=0.9)},
    }
    return replace(engine, **changes.get(fault, {}))


def _bad(winding: EngineWinding, entry: Any, how: str, rng: Generator) -> Ohms | None:
    sound = float(winding.ohms or 1.0)
    low, high = getattr(entry, "low", None) or sound, getattr(entry, "high", None) or sound
    match how:
        case "open":
            return None
        case "short":
            most = getattr(entry, "short_below", None) or low / 10
            return Ohms(most * rng.uniform(0.2, 0.85))
        case "low":
            least = getattr(entry, "short_below", None) or low / 5
            return Ohms(rng.uniform(least * 1.2, low * 0.93))
        case _:
            most = getattr(entry, "open_above", None) or high * 10
            return Ohms(high * 1.08 * (most / high / 1.3) ** rng.random())


# --- what a careful hand would find -----------------------------------------------------------


def expected(step: Step, patient: Patient) -> frozenset[str] | None:
    """Return the right outcomes of a measured step; None where no limit judges it."""
    profile, engine = patient.profile, patient.engine
    match step:
        case MeasurementStep():
            return _measured(step, profile, engine)
        case SwitchStep():
            return _switched(step, profile, engine)
        case WatchStep():
            return _watched(step, engine)
        case SoakStep():
            judged = any(e.name == step.winding and e.judged_by_resistance for e in profile.winding)
            whole = getattr(engine, step.winding).ohms is not None
            return frozenset({"steady"} if whole else {"opens-hot"}) if judged else _CANNOT
    return None


def ohms(engine: Engine, red: str, black: str, **controls: str) -> float:
    """Return what the circuit has between two places at 20 °C, stop wire and plug lead off."""
    away = {"stop wire": "off", "plug lead": "off", **controls}
    there = EngineCondition(winding_c=20.0, controls=away)
    return float(resistance_between(engine, there, red, black))


def _measured(step: MeasurementStep, profile: Profile, engine: Engine) -> frozenset[str] | None:
    for entry in profile.winding:
        if entry.name == step.winding:
            if not entry.judged_by_resistance:
                return _CANNOT
            series = float(engine.cap or 0.0) if entry.series else 0.0
            return frozenset({_by_limits(ohms(engine, *entry.between) - series, entry)})
    for lead in profile.lead:
        if lead.name == step.lead:
            value = ohms(engine, *lead.between)
            if value > lead.high:
                return frozenset({"above", "open"})  # open or high, it fails alike
            return frozenset({"below"} if value < lead.low else {"in-window"})
    return None


def _by_limits(value: float, entry: Any) -> str:
    if value == inf or (entry.open_above is not None and value >= entry.open_above):
        return "open"
    if entry.short_below is not None and value <= entry.short_below:
        return "short"
    if entry.low is not None and value < entry.low:
        return "below"
    return "above" if entry.high is not None and value > entry.high else "in-window"


def _switched(step: SwitchStep, profile: Profile, engine: Engine) -> frozenset[str] | None:
    entry = next((e for e in profile.switch if e.name == step.switch), None)
    if entry is None:
        return None
    others = {connector(s.name): "off" for s in engine.switch if s.name != step.switch}
    red, black = places_of(step, profile)
    if step.id.endswith("-unplugged"):
        others[connector(step.switch)] = "off"
    for position, state in entry.positions.items():
        value = ohms(engine, red, black, **others, **{step.switch: position})
        if state == "closed" and value > (entry.closed_at_most or 2.0):
            return frozenset({"never-closes"})
        if state == "open" and value < (entry.open_at_least or 1e6):
            return frozenset({"stuck-closed"})
    return frozenset({"passed"})


def _watched(step: WatchStep, engine: Engine) -> frozenset[str]:
    wire = engine.stop_wire
    if step.expect == "closed":
        whole = wire.broken == "no" and engine.switch[:1] and engine.switch[0].closes
        return frozenset({"none" if whole else "some"})
    stuck = any(s.open is not None for s in engine.switch)
    return frozenset({"some"} if wire.chafe is not None or stuck else {"none"})


def places_of(step: Step, profile: Profile) -> tuple[str, str]:
    """Return where the tips belong at ``step``, as profile and card have it."""
    match step:
        case WatchStep():
            return step.between
        case SwitchStep() if step.id.endswith("-unplugged"):
            return f"{step.switch} terminal", f"{step.switch} earth terminal"
        case SwitchStep():
            return next(e.between for e in profile.switch if e.name == step.switch)
        case SoakStep():
            return next(e.between for e in profile.winding if e.name == step.winding)
        case MeasurementStep():
            wanted = step.winding or step.lead or step.insulation
            every = (*profile.winding, *profile.lead, *profile.insulation)
            return next(e.between for e in every if e.name == wanted)
    raise KeyError(step.id)


def lacks(step: Step, profile: Profile) -> bool:
    """Return whether the profile has nothing that ``step`` could be about."""
    match step:
        case EntryStep(takes="gap" | "torque"):
            return step.of not in {e.name for e in getattr(profile, step.takes)}
        case SwitchStep():
            return step.switch not in {e.name for e in profile.switch}
        case MeasurementStep() | SoakStep():
            try:
                places_of(step, profile)
            except StopIteration:
                return True
    return False


def measured_steps(card: Card) -> list[Step]:
    """Return the steps of a card that probes are needed for."""
    probed = MeasurementStep | SwitchStep | WatchStep | SoakStep
    return [step for step in card.step if isinstance(step, probed)]
