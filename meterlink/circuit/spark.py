"""Whether a spark jumps the test gap, and what that takes.

A rough reckoning in kilovolts: what a sound armature offers at cranking speed, less what each
fault takes away. The figures are judgements of the authors, chosen so that every fault shows as
the trade knows it; only that the spark is there or not is ever told, never a voltage.
"""

from math import exp, inf
from typing import Final

from msgspec.structs import replace

from meterlink.circuit.condition import EngineCondition
from meterlink.circuit.engine import Engine
from meterlink.circuit.wiring import network, winding_ohms

SOUND_KV: Final = 18.0
"""A sound armature at cranking speed, with its gap set."""
TEST_GAP_KV: Final = 8.0
"""To jump the test gap."""
WEAK_PULL: Final = 0.4
"""Share that weak magnets leave, or cracked ones that still pull."""
GAP_SET_MM: Final = 0.3
GAP_SCALE_MM: Final = 0.5
"""A gap wider by this leaves a share of 1/e."""
RUBBING_MM: Final = 0.1
"""Under this the magnets strike the laminations, and nothing turns over."""
STOPPED_BELOW: Final = 20.0
"""Ohms from the primary terminal to the laminations, outside of the winding, that stop a spark."""
TURNS_LOST: Final = 12.0
"""Times its own share of the turns, a shorted turn eats of the energy: it loads like a short."""
POOR_EARTH: Final = 100.0
"""Ohms from the laminations to the block; a worse way back costs ``EARTH_KV``."""
EARTH_KV: Final = 11.0


def spark_kv(engine: Engine, condition: EngineCondition) -> float:
    """Return about what reaches the test gap, in kilovolts; zero for nothing at all."""
    unseen = engine.unseen
    celsius = condition.winding_c
    if unseen.electronics == "dead" or winding_ohms(engine.primary, celsius) == inf:
        return 0.0
    stops = unseen.electronics != "stop-dead"
    if stops and stop_path(engine, condition) < STOPPED_BELOW:
        return 0.0
    if unseen.gap_mm < RUBBING_MM:
        return 0.0
    kv = SOUND_KV * min(1.0, exp(-(unseen.gap_mm - GAP_SET_MM) / GAP_SCALE_MM))
    if unseen.pull == "weak" or unseen.cracks != "none":
        kv *= WEAK_PULL
    for winding in (engine.primary, engine.secondary):
        kv *= max(0.0, 1 - TURNS_LOST * winding.shorted)
    kv -= unseen.jump_kv + unseen.lead_jump_kv
    if winding_ohms(engine.secondary, celsius) == inf and not unseen.jump_kv:
        kv -= SOUND_KV
    if network(engine, condition).resistance("core", "block") > POOR_EARTH:
        kv -= EARTH_KV
    held = (limit for limit in (unseen.holds_kv, unseen.lead_holds_kv) if limit is not None)
    return max(0.0, min((kv, *held)))


def sparks(engine: Engine, condition: EngineCondition) -> bool:
    """Say whether a spark jumps the test gap, steadily."""
    return spark_kv(engine, condition) >= TEST_GAP_KV


def stop_path(engine: Engine, condition: EngineCondition) -> float:
    """Return the ohms from the primary terminal to the laminations, the winding left out.

    This is what stops the engine when a switch closes it, and what stops it for good when a wire
    chafes through or the insulation at the terminal leaks.
    """
    without = replace(engine.primary, ohms=None)
    return network(replace(engine, primary=without), condition).resistance("terminal", "core")
