"""Names of measurement functions, as SCPI spells them.

``FUNCtion`` takes the name in quotes, ``CONFigure`` and ``MEASure`` as a node, and the settings
of a function hang below it: ``RESistance:RANGe``. Of these, continuity, diode and capacitance
are not in SCPI-1999's list, but many meters have them.
"""

from typing import Final

from meterlink.reading import Quantity
from meterlink.source import MeterSetup

NODES: Final = {
    Quantity.RESISTANCE: "RES",
    Quantity.VOLTAGE: "VOLT:DC",
    Quantity.CURRENT: "CURR:DC",
    Quantity.CONTINUITY: "CONT",
    Quantity.DIODE: "DIOD",
    Quantity.CAPACITANCE: "CAP",
    Quantity.FREQUENCY: "FREQ",
    Quantity.TEMPERATURE: "TEMP",
}
FOUR_WIRE: Final = "FRES"

RANGED: Final = frozenset({"RES", "FRES", "VOLT:DC", "CURR:DC", "CAP"})
"""Functions with a range."""
INTEGRATED: Final = frozenset({"RES", "FRES", "VOLT:DC", "CURR:DC", "TEMP"})
"""Functions with an integration time."""


def nodes_for(setup: MeterSetup) -> list[str]:
    """Return the functions that serve ``setup``, the best first."""
    node = NODES[setup.quantity]
    if setup.quantity is Quantity.RESISTANCE and setup.four_wire:
        return [FOUR_WIRE, node]
    return [node]


def function_name(answer: str) -> str:
    """Return the name in an answer to ``FUNC?``, such as ``"RES"`` or ``RES``, without quotes."""
    return answer.strip().strip("\"'").strip()
