"""What an engine does when it is turned over: whether it sparks, starts, and stops.

Everything here follows from the engine and the condition it is in, the same that a meter is put to:
which parts it has, how they are joined, how its switches stand. So what starts, what stops and what
reads over range can never contradict each other.

The sums go the way of the energy, and each fault lies in one path:

- **Flux**: how much of the magnets' flux reaches the armature. A wide gap, weak or cracked magnets.
- **Primary**: the current that the flux drives round primary, armature feet and the trigger on the
  block. Against it stand the resistance of that loop and its reactance at cranking speed; so 150
  ohm of rust under the feet, or a joint that hangs on by corrosion, leaves next to nothing.
- **Stop**: what lies across the primary when the trigger opens. 0.2 ohm through a switch leaves no
  voltage to transform, a few kilohm hardly matter.
- **Secondary**: the voltage that charges the capacitance of winding, lead and plug, in some fifty
  microseconds and so with tens of milliamperes. 150 ohm in its way drops volts, 100 kilohm
  kilovolts, and a break must be jumped. Insulation that gives way holds the voltage down.
- **Plug**: dirt across the insulator loads the secondary while it charges.

The figures are from memory of handbooks, rounded: 10 mJ of spark energy on 60 pF give 18 kV; 8 kV
jump a test gap that stands for a plug under compression; 18 kV across 60 pF in 50 us is 22 mA;
demagnetised flywheels keep well under half of their flux. Only that a spark is there or not is ever
told, never a voltage.
"""

from collections.abc import Iterator
from math import exp, hypot, inf, isinf
from typing import Final

from msgspec.structs import replace

from meterlink.circuit.engine import CLIP_LEAD, CLIP_OFF, Engine, EngineCondition, EngineWinding
from meterlink.circuit.wiring import network, winding_ohms

SOUND_KV: Final = 18.0
"""A sound armature at cranking speed, with its gap set."""
TEST_GAP_KV: Final = 8.0
"""To jump the test gap, and the plug's own under compression."""
WEAK_PULL: Final = 0.4
"""Share of the flux that weak magnets leave, or cracked ones that still pull."""
GAP_SET_MM: Final = 0.3
GAP_SCALE_MM: Final = 0.5
"""A gap wider by this leaves a share of 1/e."""
RUBBING_MM: Final = 0.1
"""Under this the magnets strike the laminations, and nothing turns over."""
PRIMARY_REACTANCE: Final = 3.0
"""Ohms that the primary's inductance sets against its current at cranking speed."""
STOP_HALF: Final = 75.0
"""Ohms across the primary that halve the voltage when the trigger opens."""
TURNS_LOST: Final = 12.0
"""Times its own share of the turns, a shorted turn eats of the energy: it loads like a short."""
CHARGING_A: Final = 0.022
"""Current that charges the secondary's capacitance, in amperes."""
SOURCE_OHM: Final = SOUND_KV * 1e3 / CHARGING_A
"""What the secondary is like to a leak across the plug."""


def spark_kv(engine: Engine, condition: EngineCondition) -> float:
    """Return about what reaches the end of the plug lead, in kilovolts; zero for nothing at all."""
    unseen, celsius = engine.unseen, condition.winding_c
    if unseen.electronics == "dead" or unseen.gap_mm < RUBBING_MM:
        return 0.0
    kv = SOUND_KV * _flux(engine) * _primary(engine, condition) * _not_stopped(engine, condition)
    for winding in (engine.primary, engine.secondary):
        kv *= max(0.0, 1 - TURNS_LOST * winding.shorted)
    kv -= _lost_on_the_way(engine, condition, celsius)
    held = (limit for limit in (unseen.holds_kv, unseen.lead_holds_kv) if limit is not None)
    return max(0.0, min((kv, *held)))


def sparks(engine: Engine, condition: EngineCondition) -> bool:
    """Say whether a spark jumps the test gap, steadily."""
    return spark_kv(engine, condition) >= TEST_GAP_KV


def starts(engine: Engine, condition: EngineCondition) -> bool:
    """Say whether the engine starts and runs, put together and standing as ``condition`` says."""
    together = {"cap": "on", "plug lead": "on", CLIP_LEAD: CLIP_OFF}
    if any(condition.position(part, engine) != there for part, there in together.items()):
        return False
    leak = engine.plug_leak
    left = 1.0 if leak is None else leak / (leak + SOURCE_OHM)
    unseen = engine.unseen
    return (
        spark_kv(engine, condition) * left >= TEST_GAP_KV
        and unseen.plug == "good"
        and unseen.flywheel_key == "whole"
        and unseen.elsewhere != "starves"
    )


def runs_on(engine: Engine, condition: EngineCondition) -> bool:
    """Say whether an engine that runs goes on running once it stands as ``condition`` says."""
    return engine.unseen.elsewhere == "glows" or sparks(engine, condition)


def stop_path(engine: Engine, condition: EngineCondition) -> float:
    """Return the ohms from the primary terminal to the laminations, the winding left out.

    This is what stops the engine when a switch closes it, and what stops it for good when a wire
    chafes through or the insulation at the terminal leaks.
    """
    without = replace(engine, primary=EngineWinding())
    return network(without, condition).resistance("terminal", "core")


def at_run(engine: Engine) -> dict[str, str]:
    """Return every control as it is when the engine runs: joined up, and each switch open."""
    return {
        **{switch.name: switch.at("open") for switch in engine.switch},
        **{f"{switch.name} connector": "on" for switch in engine.switch},
        "stop wire": "on",
        CLIP_LEAD: CLIP_OFF,
    }


def stopping(engine: Engine, condition: EngineCondition) -> Iterator[EngineCondition]:
    """Yield the condition with each switch at stop, one at a time, the rest as they stand."""
    for switch in engine.switch:
        for position, state in switch.positions.items():
            if state == "closed":
                yield condition.move(switch.name, position, engine)


def _flux(engine: Engine) -> float:
    unseen = engine.unseen
    share = min(1.0, exp(-(unseen.gap_mm - GAP_SET_MM) / GAP_SCALE_MM))
    return share * (WEAK_PULL if unseen.pull == "weak" or unseen.cracks != "none" else 1.0)


def _primary(engine: Engine, condition: EngineCondition) -> float:
    """Return the share of a sound primary's current that flows."""
    winding = winding_ohms(replace(engine.primary, shorted=0.0), condition.winding_c)
    feet = _feet(engine, condition)
    if isinf(winding) or isinf(feet):
        return 0.0
    sound = hypot(1.0, PRIMARY_REACTANCE)
    return min(1.0, sound / hypot(max(winding, 1.0) + feet, PRIMARY_REACTANCE))


def _not_stopped(engine: Engine, condition: EngineCondition) -> float:
    """Return the share of the voltage that the stop circuit leaves."""
    if engine.unseen.electronics == "stop-dead":
        return 1.0
    ohms = stop_path(engine, condition)
    return 1.0 if ohms == inf else ohms / (ohms + STOP_HALF)


def _lost_on_the_way(engine: Engine, condition: EngineCondition, celsius: float) -> float:
    """Return the kilovolts that are left in the secondary's path: in breaks and resistances."""
    unseen = engine.unseen
    lost = unseen.jump_kv + unseen.lead_jump_kv
    winding = winding_ohms(engine.secondary, celsius)
    lead = inf if engine.lead is None else engine.lead
    cap = inf if engine.cap is None else engine.cap
    for ohms, jump in ((winding, unseen.jump_kv), (lead + cap, unseen.lead_jump_kv)):
        if not isinf(ohms):
            lost += ohms * CHARGING_A / 1e3
        elif not jump:
            return inf  # a break that nothing jumps
    return lost + _feet(engine, condition) * CHARGING_A / 1e3


def _feet(engine: Engine, condition: EngineCondition) -> float:
    """Return the ohms from the laminations to the block, but for the way through the winding."""
    without = replace(engine, primary=EngineWinding())
    return network(without, condition).resistance("core", "block")
