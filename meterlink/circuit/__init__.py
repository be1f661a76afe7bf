"""The ignition circuit of a virtual engine, as a network of resistors.

``Engine`` says what is there, ``EngineCondition`` how it lies on the bench, ``places`` where a
probe can touch it, and ``resistance_between`` what a meter would read. ``faults`` makes good
engines bad.
"""

from meterlink.circuit.condition import (
    CLIP_LEAD,
    CLIP_OFF,
    FITTINGS,
    EngineCondition,
    connector,
    connectors,
    controls,
)
from meterlink.circuit.engine import Engine, EngineSwitch, EngineWinding, Module, StopWire, Unseen
from meterlink.circuit.network import Element, Network, Solution
from meterlink.circuit.places import AIR, OTHER_TIP, Place, places
from meterlink.circuit.probes import at_sockets, parallel
from meterlink.circuit.wiring import (
    NOTHING,
    TipImpedance,
    network,
    resistance_between,
    seen_between,
    winding_ohms,
)

__all__ = [
    "AIR",
    "CLIP_LEAD",
    "CLIP_OFF",
    "FITTINGS",
    "NOTHING",
    "OTHER_TIP",
    "Element",
    "Engine",
    "EngineCondition",
    "EngineSwitch",
    "EngineWinding",
    "Module",
    "Network",
    "Place",
    "Solution",
    "StopWire",
    "TipImpedance",
    "Unseen",
    "at_sockets",
    "connector",
    "connectors",
    "controls",
    "network",
    "parallel",
    "places",
    "resistance_between",
    "seen_between",
    "winding_ohms",
]
