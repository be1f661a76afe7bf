"""A simulated bench: a virtual engine, a pair of hands, and a meter that speaks SCPI.

Nothing here is a shortcut: the meter is reached over a TCP port or a pseudo-terminal of this
computer, by the same driver that reads a real one.
"""

from drivers.simulated.bench import SimulatedBench
from drivers.simulated.hands import Hands
from drivers.simulated.meter import MeterCharacter, VirtualMeter, VirtualSample
from drivers.simulated.pace import VirtualClock
from drivers.simulated.scenario import Scenario, load_scenario, read_scenario, scenario_names
from drivers.simulated.stream_faults import LineFault, LineFaults
from drivers.simulated.world import World

__all__ = [
    "Hands",
    "LineFault",
    "LineFaults",
    "MeterCharacter",
    "Scenario",
    "SimulatedBench",
    "VirtualClock",
    "VirtualMeter",
    "VirtualSample",
    "World",
    "load_scenario",
    "read_scenario",
    "scenario_names",
]
