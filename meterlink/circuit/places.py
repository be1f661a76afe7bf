"""The places that a probe can touch, by the names that profiles and cards use for them."""

from typing import Final, Literal

import msgspec

from meterlink.circuit.engine import Engine
from meterlink.circuit.network import Node

PRIMARY_TERMINAL: Final = "primary terminal"
LAMINATIONS: Final = "laminations"
PLUG_LEAD: Final = "plug lead"
BARE_LEAD: Final = "plug lead without cap"
STOP_WIRE: Final = "stop wire"
BLOCK: Final = "block"
LEAD_SOCKET: Final = "lead socket"
CASE: Final = "armature case"
PLUG_TERMINAL: Final = "plug terminal"
AIR: Final = "air"
OTHER_TIP: Final = "other tip"

POOR_EARTH_OHM: Final = 1.0
"""A way to the block that reads more is poor: common practice, no published source."""
INSULATION_OHM: Final = 1e6
"""Where the profile asks for nothing: common practice, no published source."""


class Place(msgspec.Struct, frozen=True):
    """Somewhere that a probe can be."""

    name: str
    about: str
    node: Node
    """The node of the circuit that it reaches."""
    film: Literal["bare", "rust", "paint"] = "bare"
    """What the tip must get through."""


_COMMON: Final = (
    Place(PRIMARY_TERMINAL, "the tab on the armature that the stop wire plugs onto", "terminal"),
    Place(LAMINATIONS, "the stack of iron sheets, bare metal at its edge", "core"),
    Place("rusty laminations", "the same stack where it has rusted", "core", "rust"),
    Place("painted laminations", "the same stack where it is varnished", "core", "paint"),
    Place(PLUG_LEAD, "the clip inside the cap, or the conductor where the cap is off", "clip"),
    Place(BARE_LEAD, "the conductor at the end of the lead, with the cap unscrewed", "lead end"),
    Place(LEAD_SOCKET, "where the lead is screwed into the armature, with the lead out", "tower"),
    Place(CASE, "the armature's moulded case", "case"),
    Place(PLUG_TERMINAL, "the top of the plug", "plug"),
    Place(STOP_WIRE, "the plug of the stop wire at the armature", "stop wire"),
    Place(BLOCK, "bare metal of the engine", "block"),
    Place("rusty block", "the engine where it has rusted", "block", "rust"),
    Place("painted block", "the engine where it is painted", "block", "paint"),
    Place(AIR, "nothing", "air"),
    Place(OTHER_TIP, "the tip of the other probe", "other tip"),
)


def places(engine: Engine) -> dict[str, Place]:
    """Return every place on ``engine`` that a probe can touch, by name."""
    found = {place.name: place for place in _COMMON}
    for switch in engine.switch:
        for suffix, about, node in (
            ("terminal", "where the stop wire joins it", "stop line"),
            ("earth terminal", "where its earth wire joins it", (switch.name, "earth")),
        ):
            name = f"{switch.name} {suffix}"
            found[name] = Place(name, f"{switch.name}: {about}", node)
    return found
