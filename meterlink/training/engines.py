"""The engines of the practice: invented, sound, inside the windows of their profile."""

from collections.abc import Mapping, Sequence
from typing import Final, Literal

from msgspec.structs import replace
from numpy.random import Generator

from meterlink.card.profile import Insulation, Lead, Profile
from meterlink.card.profile import Switch as SwitchEntry
from meterlink.circuit.engine import Engine, EngineSwitch, EngineWinding
from meterlink.circuit.faults import slug
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
from meterlink.declared import Ohms

STOP_SWITCH: Final = "stop switch"
SWITCHES: Final[Mapping[str, Mapping[str, Literal["closed", "open"]]]] = {
    STOP_SWITCH: {"stop": "closed", "run": "open"},
    "brake switch": {"let go": "closed", "held": "open"},
    "throttle switch": {"stop": "closed", "open": "open"},
    "key switch": {"off": "closed", "on": "open"},
    "low-oil switch": {"low": "closed", "full": "open"},
    "seat switch": {"up": "closed", "down": "open"},
}
"""Every switch that an engine can have, with the state of its contacts in each position."""
SWITCH_NAMED: Final[Mapping[str, str]] = {slug(name): name for name in SWITCHES}
"""The same by the fault table's name for it."""
PLUG_LEAD_ENTRY: Final = "plug lead"
EARTH_ENTRY: Final = "earth path"
INSULATION_ENTRY: Final = "armature case"
_SOURCE: Final = "invented for practice"


def sound_engine(rng: Generator, switches: Sequence[str]) -> Engine:
    """Return a sound engine with these switches, the stop switch among them or not."""
    return Engine(
        name="portable pump set",
        primary=EngineWinding(ohms=Ohms(rng.uniform(0.78, 0.92)), henries=0.003),
        secondary=EngineWinding(ohms=Ohms(rng.uniform(4700, 6200)), henries=9.0),
        switch=tuple(
            EngineSwitch(name=name, positions=dict(SWITCHES[name]))
            for name in SWITCHES
            if name in {STOP_SWITCH, *switches}
        ),
    )


def practice_profile(base: Profile, engine: Engine) -> Profile:
    """Return ``base`` with an entry for everything on ``engine`` that a meter can be put to."""
    first = engine.switch[0].name
    return replace(
        base,
        switch=tuple(
            SwitchEntry(
                name=switch.name,
                between=(STOP_WIRE, BLOCK),
                positions=switch.positions,
                source=_SOURCE,
            )
            for switch in engine.switch
        ),
        lead=(
            Lead(
                name=PLUG_LEAD_ENTRY,
                between=(PLUG_LEAD, LEAD_SOCKET),
                low=Ohms(0),
                high=Ohms(5),
                source=_SOURCE,
            ),
            Lead(
                name=EARTH_ENTRY,
                between=(LAMINATIONS, f"{first} earth terminal"),
                low=Ohms(0),
                high=Ohms(POOR_EARTH_OHM),
                source="common practice, no published source",
            ),
        ),
        insulation=(
            Insulation(
                name=INSULATION_ENTRY,
                between=(CASE, LAMINATIONS),
                at_least=Ohms(INSULATION_OHM),
                source="common practice, no published source",
            ),
        ),
    )
