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


_NAMED: Final = {
    "RES": Quantity.RESISTANCE,
    "FRES": Quantity.RESISTANCE,
    "VOLT": Quantity.VOLTAGE,
    "CURR": Quantity.CURRENT,
    "CONT": Quantity.CONTINUITY,
    "DIOD": Quantity.DIODE,
    "CAP": Quantity.CAPACITANCE,
    "FREQ": Quantity.FREQUENCY,
    "TEMP": Quantity.TEMPERATURE,
}


def quantity_named(answer: str) -> tuple[Quantity, tuple[str, ...]] | None:
    """Return what an answer to ``FUNC?`` or ``CONF?`` names, and its flags; None for no quantity.

    Long and short forms alike; ``"VOLT:AC"`` is a voltage with the flag ``ac``.
    """
    words = function_name(answer).upper().split()
    nodes = words[0].strip("\"'").split(":") if words else []
    if nodes and nodes[0].startswith("SENS"):
        nodes = nodes[1:]
    if not nodes:
        return None
    if nodes[0].startswith("FRES"):
        return Quantity.RESISTANCE, ()
    quantity = _NAMED.get(nodes[0][:4]) or _NAMED.get(nodes[0][:3])
    if quantity is None:
        return None
    return quantity, ("ac",) if nodes[1:2] == ["AC"] else ()


def function_name(answer: str) -> str:
    """Return the name in an answer to ``FUNC?``, such as ``"RES"`` or ``RES``, without quotes."""
    return answer.strip().strip("\"'").strip()
