"""The ignition circuit of one small engine: what it is made of, and how it lies on the bench.

An engine here is data. A fault is another value in it (see ``faults``), so that a faulty engine
is measured by the very same sums as a good one. Resistances are ohms, those of windings at
20 celsius; None stands for no path at all.
"""

from collections.abc import Mapping
from typing import Annotated, Final, Literal

import msgspec

from meterlink.quantities.units import Celsius, Ohms

Share = Annotated[float, msgspec.Meta(ge=0, le=1)]
Kilovolts = Annotated[float, msgspec.Meta(ge=0)]
Name = Annotated[str, msgspec.Meta(min_length=1, max_length=60)]


class _Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A part of the engine."""


class EngineWinding(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A copper winding on the laminations, whose other end is joined to them."""

    ohms: Ohms | None = None
    """At 20 celsius; None where the wire is broken."""
    henries: Annotated[float, msgspec.Meta(ge=0)] = 0.0
    """Inductance, which makes a reading take its time to settle."""
    shorted: Share = 0.0
    """Share of the turns that are shorted out."""
    leak: Ohms | None = None
    """Insulation to the laminations, as a meter sees it; None for perfect."""
    opens_above: Celsius | None = None
    """The wire parts when the winding is hotter than this; None where it does not."""


class Module(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Electronics between the primary terminal and the primary: a semiconductor to a meter."""

    forward: Ohms
    """With the terminal positive."""
    reverse: Ohms | None = None
    """With the terminal negative; None where nothing flows."""


class StopWire(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The wire from the primary terminal to the stop switches."""

    ohms: Ohms = Ohms(0.08)
    """End to end, while it is whole."""
    broken: Literal["no", "moved", "yes"] = "no"
    """Parted between the bare spot and the switches: at moments while it is moved, or for good."""
    chafe: Ohms | None = None
    """To the block through worn insulation; None where it is sound."""
    chafes: Literal["always", "moved"] = "always"
    """Whether the bare spot touches all the time, or at moments while the wire is moved."""


class EngineSwitch(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A switch that earths the stop wire to stop the engine."""

    name: Name
    positions: Annotated[dict[Name, Literal["closed", "open"]], msgspec.Meta(min_length=1)]
    closed: Ohms = Ohms(0.06)
    """Across its contacts when closed."""
    closes: bool = True
    """Whether they close at all."""
    open: Ohms | None = None
    """Across its contacts when open."""
    earth: Ohms | None = Ohms(0.03)
    """From its earth terminal to the block."""

    def at(self, state: Literal["closed", "open"]) -> str:
        """Return the first position that is to be ``state``, or the first of all."""
        wanted = (position for position, is_ in self.positions.items() if is_ == state)
        return next(wanted, next(iter(self.positions)))


class Unseen(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What eyes, a gauge, a trial or a swap reveal, and no resistance does."""

    electronics: Literal["work", "dead", "stop-dead"] = "work"
    """Whether they switch; ``stop-dead``: they do, and earthing the terminal does not stop them."""
    jump_kv: Kilovolts = 0.0
    """What the spark must jump inside the armature, beside its own gap: a break in its way."""
    holds_kv: Kilovolts | None = None
    """What the armature's insulation holds before it lets the spark through; None for all."""
    lead_jump_kv: Kilovolts = 0.0
    """The same as ``jump_kv``, in plug lead or cap."""
    lead_holds_kv: Kilovolts | None = None
    """The same as ``holds_kv``, of plug lead and cap."""
    pull: Literal["strong", "weak"] = "strong"
    """Of the flywheel's magnets."""
    cracks: Literal["none", "face", "seat"] = "none"
    """In the magnets: where the eye comes with the flywheel on, or only once it is off."""
    flywheel_key: Literal["whole", "sheared", "missing"] = "whole"
    gap_mm: Annotated[float, msgspec.Meta(ge=0, le=20)] = 0.3
    """Between the laminations and the flywheel at the magnets."""
    plug: Literal["good", "fouled", "cracked", "gap-wrong"] = "good"
    elsewhere: Literal["no", "starves", "glows"] = "no"
    """What is wrong is not in the ignition: fuel, air or compression keep it from running, or a
    glowing deposit or a fuel valve from stopping."""


class Engine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One engine's ignition: armature, plug lead and cap, stop circuit, earth and mechanics."""

    name: Name
    primary: EngineWinding
    secondary: EngineWinding
    module: Module | None = None
    lead: Ohms | None = Ohms(0.4)
    """Conductor of the plug lead; None where it is broken."""
    cap: Ohms | None = Ohms(0.2)
    """Plug cap with its suppressor, from the lead to the clip that sits on the plug."""
    plug_leak: Ohms | None = None
    """Across the plug's insulator; None for a clean one."""
    stop_wire: StopWire = StopWire()
    switch: tuple[EngineSwitch, ...] = ()
    armature_earth: Ohms | None = Ohms(0.004)
    """From the laminations to the block, through the mounting screws. The primary's current goes
    that way, as the trigger sits on the block."""
    rust: Ohms | None = Ohms(40.0)
    """What a tip meets on a rusty spot before it meets metal."""
    paint: Ohms | None = None
    """What a tip meets on paint."""
    case_leak: Ohms | None = None
    """From the armature's case to its laminations, through dirt or a carbon track."""
    unseen: Unseen = Unseen()


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
            raise ValueError(f"there is no “{control}”; there is {', '.join(known)}")
        if position not in known[control]:
            wanted = ", ".join(known[control])
            raise ValueError(f"“{control}” has no position “{position}”; it has {wanted}")
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
