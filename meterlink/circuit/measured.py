"""The checks of the fault table that a meter makes, worked out on a virtual engine.

Done with care: cold, stop wire and plug lead off, tips on bare metal, leads taken off. The verdicts
are those of the profile's criteria.
"""

from math import isinf
from typing import Final

from msgspec.structs import replace

from meterlink.circuit.condition import EngineCondition
from meterlink.circuit.engine import Engine, EngineSwitch
from meterlink.circuit.faults import HOT_C
from meterlink.circuit.places import (
    BLOCK,
    CASE,
    INSULATION_OHM,
    LAMINATIONS,
    LEAD_SOCKET,
    PLUG_LEAD,
    POOR_EARTH_OHM,
    STOP_WIRE,
)
from meterlink.circuit.wiring import resistance_between
from meterlink.judging.criterion import Criterion
from meterlink.profile import Profile
from meterlink.profile import Switch as SwitchEntry
from meterlink.quantities.window import Window

CANNOT_TELL: Final = "cannot-tell"
ON_THE_BENCH: Final = EngineCondition(controls={"stop wire": "off", "plug lead": "off"})


def winding(engine: Engine, profile: Profile, name: str) -> str:
    """Return the verdict code of a winding; ``cannot-tell`` where resistance does not judge it."""
    for entry in profile.winding:
        if entry.name == name and entry.judged_by_resistance:
            return _verdict(entry.criterion, _ohms(engine, *entry.between))
    return CANNOT_TELL


def lead(engine: Engine, sound: Engine, profile: Profile) -> str:
    """Return the verdict code of lead and cap, end to end."""
    read = _ohms(engine, PLUG_LEAD, LEAD_SOCKET)
    for entry in profile.lead:
        if PLUG_LEAD in entry.between:
            return _verdict(entry.criterion, read)
    usual = _ohms(sound, PLUG_LEAD, LEAD_SOCKET)
    return _verdict(Criterion.part(Window(0.5 * usual, 1.5 * usual + 2.0)), read)


def insulation(engine: Engine, profile: Profile) -> str:
    """Return ``passed`` or ``leaks``."""
    for entry in profile.insulation:
        if _verdict(entry.criterion, _ohms(engine, *entry.between)) != "open":
            return "leaks"
    return "passed" if _ohms(engine, CASE, LAMINATIONS) >= INSULATION_OHM else "leaks"


def switch(engine: Engine, part: EngineSwitch, profile: Profile) -> str:
    """Return ``passed``, ``stuck-closed`` or ``never-closes``; the other switches are unplugged."""
    alone = replace(engine, switch=tuple(s for s in engine.switch if s.name == part.name))
    entry = next((e for e in profile.switch if e.name == part.name), None) or SwitchEntry(
        name=part.name,
        between=(STOP_WIRE, BLOCK),
        positions=part.positions,
        source="common practice, no published source",
    )
    outcome = "passed"
    for position, state in entry.positions.items():
        there = ON_THE_BENCH.move(part.name, position, alone)
        criterion = entry.criterion(closed=state == "closed")
        read = _ohms(alone, *entry.between, there)
        if _verdict(criterion, read) != criterion.good.value:
            outcome = "never-closes" if state == "closed" else "stuck-closed"
    return outcome


def watch(engine: Engine) -> str:
    """Return whether the stop wire drops out or touches metal while it is moved: some or none."""
    away = ON_THE_BENCH
    for part in engine.switch:
        away = away.move(part.name, _position(part, "open"), engine)
    moments = (away, replace(away, chafing=True))
    ends = (STOP_WIRE, f"{engine.switch[0].name} terminal") if engine.switch else None
    parted = ends is not None and any(isinf(_ohms(engine, *ends, now)) for now in moments)
    # The switches' own paths to the block are no fault of the wire: look at it without them.
    bare = replace(engine, switch=())
    touched = any(not isinf(_ohms(bare, STOP_WIRE, BLOCK, now)) for now in moments)
    return "some" if parted or touched else "none"


def earth(engine: Engine) -> str:
    """Return ``good`` or ``poor``, laminations to block and block to the earth of the switches."""
    ways = [(LAMINATIONS, BLOCK), *((BLOCK, f"{s.name} earth terminal") for s in engine.switch)]
    return "poor" if any(_ohms(engine, *way) > POOR_EARTH_OHM for way in ways) else "good"


def soak(engine: Engine) -> str:
    """Return ``opens-hot`` where a winding that conducts cold is open when hot, else ``steady``."""
    hot = replace(ON_THE_BENCH, winding_c=HOT_C)
    for name in ("primary", "secondary"):
        start = {"primary": "primary terminal", "secondary": LEAD_SOCKET}[name]
        if not isinf(_ohms(engine, start, LAMINATIONS)) and isinf(
            _ohms(engine, start, LAMINATIONS, hot)
        ):
            return "opens-hot"
    return "steady"


def _position(part: EngineSwitch, state: str) -> str:
    """Return the first position of ``part`` with this state, or the first of all."""
    wanted = (position for position, is_ in part.positions.items() if is_ == state)
    return next(wanted, next(iter(part.positions)))


def _ohms(engine: Engine, red: str, black: str, condition: EngineCondition = ON_THE_BENCH) -> float:
    return resistance_between(engine, condition, red, black)


def _verdict(criterion: Criterion, ohms: float) -> str:
    less = ohms - criterion.series
    return criterion.verdict(less).value
