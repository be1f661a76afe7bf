"""Where a probe can touch an engine, and what a meter would read there: the engine as a network."""

from collections.abc import Mapping
from math import inf, isfinite, isinf
from typing import Final, Literal

import msgspec

from meterlink.circuit.engine import (
    CLIP_LEAD,
    EARTH_BRIDGED,
    EARTHED,
    TERMINAL_EARTHED,
    Engine,
    EngineCondition,
    EngineWinding,
    connector,
)
from meterlink.circuit.network import Network, Node, Solution
from meterlink.judging.correction import COPPER_K, REFERENCE

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


CLIP_LEAD_OHM: Final = 0.05
"""A short clip lead with its clips: common practice, no published source."""

Sense = Literal["forward", "reverse"]
"""Which way a current runs through the module: in at the terminal, or out of it."""


class TipImpedance(msgspec.Struct, frozen=True):
    """What lies between two tips, to a meter that passes a steady current."""

    ohms: float
    """Infinite where there is no path."""
    henries: float = 0.0
    """Inductance in that path, weighted by the square of its share of the current."""


NOTHING: Final = TipImpedance(inf)
"""Probes in the air, and any gap."""


def winding_ohms(winding: EngineWinding, celsius: float) -> float:
    """Return the resistance of ``winding`` at ``celsius``; infinite where it is open."""
    opens = winding.opens_above
    if winding.ohms is None or (opens is not None and celsius > opens):
        return inf
    warmth = (COPPER_K + celsius) / (COPPER_K + REFERENCE)
    return winding.ohms * (1 - winding.shorted) * warmth


def network(engine: Engine, condition: EngineCondition, sense: Sense = "forward") -> Network:
    """Return the circuit of ``engine`` as it lies there.

    The nodes are those that ``places`` names, and a few inside that no probe reaches.
    """
    net = Network()
    _armature(net, engine, condition.winding_c, sense)
    _plug_side(net, engine, condition)
    _stop_circuit(net, engine, condition)
    net.connect("core", "block", _or_open(engine.armature_earth))
    ends = _CLIPPED.get(condition.position(CLIP_LEAD, engine))
    if ends is not None:
        net.connect(*ends, CLIP_LEAD_OHM, CLIP_LEAD)
    return net


_CLIPPED: Final[Mapping[str, tuple[Node, Node]]] = {
    TERMINAL_EARTHED: ("terminal", "core"),
    EARTH_BRIDGED: ("core", "block"),
}
"""Nodes that the clip lead joins, by its position."""


def seen_between(
    engine: Engine, condition: EngineCondition, red: Place, black: Place
) -> TipImpedance:
    """Return what a meter would see with perfect tips on two places of ``engine``.

    The film under each tip is part of it; contact, leads and fingers are not (see ``probes``).
    """
    if OTHER_TIP in (red.name, black.name):
        # Tip on tip: whatever else one of them may lie on, no current takes the long way.
        return NOTHING if AIR in (red.name, black.name) else TipImpedance(0.0)
    if AIR in (red.name, black.name):
        return NOTHING
    film = _film(engine, red) + _film(engine, black)
    if not isfinite(film):
        return NOTHING
    found = _solved(engine, condition, red.node, black.node)
    if found is None:
        return NOTHING
    net, solution = found
    henries = 0.0
    for name, winding in (("primary", engine.primary), ("secondary", engine.secondary)):
        for element in net.named(name):
            henries += winding.henries * (1 - winding.shorted) ** 2 * solution.share(element) ** 2
    return TipImpedance(solution.resistance + film, henries)


def resistance_between(engine: Engine, condition: EngineCondition, red: str, black: str) -> float:
    """Return the ohms between two places by name; infinite where there is no path.

    Raises:
        KeyError: the engine has no such place.
    """
    known = places(engine)
    return seen_between(engine, condition, known[red], known[black]).ohms


def _solved(
    engine: Engine, condition: EngineCondition, red: Node, black: Node
) -> tuple[Network, Solution] | None:
    """Solve with the module the way round that the current itself runs through it."""
    net = network(engine, condition)
    solution = net.solve(red, black)
    if engine.module is None or solution is None:
        return None if solution is None else (net, solution)
    if all(solution.share(element) >= 0 for element in net.named("module")):
        return net, solution
    net = network(engine, condition, "reverse")
    solution = net.solve(red, black)
    return None if solution is None else (net, solution)


def _or_open(ohms: float | None) -> float:
    return inf if ohms is None else ohms


def _film(engine: Engine, place: Place) -> float:
    return {"bare": 0.0, "rust": _or_open(engine.rust), "paint": _or_open(engine.paint)}[place.film]


def _armature(net: Network, engine: Engine, celsius: float, sense: Sense) -> None:
    module = engine.module
    if module is None:
        net.join("terminal", "primary start")
    else:
        through = module.forward if sense == "forward" else _or_open(module.reverse)
        net.connect("terminal", "primary start", through, "module")
    for name, winding, start in (
        ("primary", engine.primary, "primary start"),
        ("secondary", engine.secondary, "tower"),
    ):
        net.connect(start, "core", winding_ohms(winding, celsius), name)
        net.connect(start, "core", _or_open(winding.leak), f"{name} leak")
    net.connect("case", "core", _or_open(engine.case_leak), "case leak")


def _plug_side(net: Network, engine: Engine, condition: EngineCondition) -> None:
    net.connect("tower", "lead end", _or_open(engine.lead), "lead")
    if condition.position("cap", engine) == "on":
        net.connect("lead end", "clip", _or_open(engine.cap), "cap")
    else:
        net.join("lead end", "clip")
    plug_lead = condition.position("plug lead", engine)
    if plug_lead == "on":
        net.join("clip", "plug")
    elif plug_lead == EARTHED:
        net.connect("clip", "block", CLIP_LEAD_OHM, "plug lead to earth")
    net.connect("plug", "block", _or_open(engine.plug_leak), "plug leak")


def _stop_circuit(net: Network, engine: Engine, condition: EngineCondition) -> None:
    wire = engine.stop_wire
    if condition.position("stop wire", engine) == "on":
        net.join("terminal", "stop wire")
    # The bare spot lies halfway, so that a broken wire may still chafe on the armature's side.
    half = wire.ohms / 2
    net.connect("stop wire", "stop wire middle", half, "stop wire")
    parted = wire.broken == "yes" or (wire.broken == "moved" and condition.chafing)
    net.connect("stop wire middle", "stop line", inf if parted else half, "stop wire")
    if wire.chafes == "always" or condition.chafing:
        net.connect("stop wire middle", "block", _or_open(wire.chafe), "chafe")
    for switch in engine.switch:
        closed = switch.positions[condition.position(switch.name, engine)] == "closed"
        shut = switch.closed if switch.closes else inf
        across = shut if closed else _or_open(switch.open)
        joined = condition.controls.get(connector(switch.name)) != "off"
        net.connect("stop line", (switch.name, "earth"), across if joined else inf, switch.name)
        net.connect((switch.name, "earth"), "block", _or_open(switch.earth), "switch earth")


# --- between the tips and the meter's sockets ----------------------------------------------------
#
# The two contacts lie in series with the part, the fingers across the tips, the leads in series
# with all of it; so the sums are those of series and parallel, exact for this shape.


def parallel(*ohms: float) -> float:
    """Return the resistance of several resistors side by side."""
    if any(r == 0 for r in ohms):
        return 0.0
    siemens = sum(1 / r for r in ohms if not isinf(r))
    return 1 / siemens if siemens else inf


def at_sockets(
    part: float, contact: float = 0.0, fingers: float = inf, leads: float = 0.0
) -> float:
    """Return the ohms that a two-wire meter sees; all arguments are ohms.

    Args:
        part: between the places that the tips are on.
        contact: of both tips together; infinite while one is off.
        fingers: of the person who holds both tips; infinite without.
        leads: both test leads together.
    """
    return leads + parallel(part + contact, fingers)
