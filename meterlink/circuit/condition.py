"""The state in which the engine lies on the bench: what is plugged on, switched and warm."""

from collections.abc import Mapping
from typing import Final

import msgspec

from meterlink.circuit.engine import Engine

ON_OFF: Final = ("on", "off")

CLIP_LEAD: Final = "clip lead"
CLIP_OFF: Final = "off"
EARTHED: Final = "earthed"
TERMINAL_EARTHED: Final = "terminal to laminations"
EARTH_BRIDGED: Final = "laminations to block"
FITTINGS: Final[Mapping[str, tuple[str, ...]]] = {
    "stop wire": ON_OFF,
    "cap": ON_OFF,
    "plug lead": ("on", "off", EARTHED),
    CLIP_LEAD: (CLIP_OFF, TERMINAL_EARTHED, EARTH_BRIDGED),
}
"""What can be fitted or taken off: the stop wire on its tab, the cap on the lead, the lead on
the plug, off it, or off and clipped to the block; and where the workshop's own clip lead is."""


class EngineCondition(msgspec.Struct, frozen=True, kw_only=True):
    """How the engine lies there at one moment."""

    winding_c: float = 20.0
    """Temperature of both windings, celsius."""
    controls: Mapping[str, str] = {}
    """Position of each switch and fitting that is not in its first one, by name."""
    chafing: bool = False
    """The stop wire is being moved, and at this moment its worn spot touches or parts."""

    def position(self, control: str, engine: Engine) -> str:
        """Return where ``control`` stands: a switch of ``engine``, its connector, or a fitting."""
        return self.controls.get(control) or _every(engine)[control][0]

    def move(self, control: str, position: str, engine: Engine) -> "EngineCondition":
        """Return the condition with ``control`` in ``position``.

        Raises:
            ValueError: there is no such control, or it has no such position.
        """
        known = _every(engine)
        if control not in known:
            raise ValueError(f"there is no «{control}»; there is {', '.join(known)}")
        if position not in known[control]:
            wanted = ", ".join(known[control])
            raise ValueError(f"«{control}» has no position «{position}»; it has {wanted}")
        return msgspec.structs.replace(self, controls={**self.controls, control: position})


def controls(engine: Engine) -> dict[str, tuple[str, ...]]:
    """Return every switch and fitting with its positions, the one it starts in first."""
    return {**{s.name: tuple(s.positions) for s in engine.switch}, **FITTINGS}


def connector(switch: str) -> str:
    """Return the name of the connector that joins ``switch`` to the stop wire."""
    return f"{switch} connector"


def connectors(engine: Engine) -> dict[str, tuple[str, ...]]:
    """Return the connector of every switch; off, the switch is out of the stop circuit."""
    return {connector(switch.name): ON_OFF for switch in engine.switch}


def _every(engine: Engine) -> dict[str, tuple[str, ...]]:
    return {**controls(engine), **connectors(engine)}
