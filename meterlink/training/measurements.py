"""How each check of the fault table is made with a meter: as steps of a card, and what they want.

A check is one step, or two of which either can find the fault. Beside each step stands what good
contact for it is, so that a touch can be held against it.
"""

from collections.abc import Iterator, Mapping
from typing import Final

import msgspec

from meterlink.card import Card, Step
from meterlink.circuit.engine import (
    CLIP_LEAD,
    CLIP_OFF,
    Engine,
    EngineCondition,
    connector,
    connectors,
    controls,
)
from meterlink.circuit.faults import slug
from meterlink.circuit.wiring import AIR, BLOCK, OTHER_TIP, STOP_WIRE, places
from meterlink.finding.model import Model
from meterlink.quantities.units import Seconds
from meterlink.steps.entry import CautionStep, EntryStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.soak import SoakStep
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import WatchStep
from meterlink.training.case import EARTH_ENTRY, INSULATION_ENTRY, PLUG_LEAD_ENTRY
from meterlink.training.ledger import Flaw, Topic

OVER_RANGE: Final = 1.2
"""Times its full scale, a range still reads."""


class Touch(msgspec.Struct, frozen=True, kw_only=True):
    """The probes and all around them at the moment when a value was held, or an open was said."""

    red: str
    black: str
    """Places by name."""
    controls: Mapping[str, str] = {}
    """Positions of switches, connectors and fittings that are not in their first one."""
    fingers: bool = False
    """Fingers lay across the tips."""
    zeroed: bool = True
    """The lead zero was taken."""
    range: float | None = None
    """Full scale that the meter was fixed on, ohms; None where it chose by itself."""
    resolution: float = 0.0
    """Step of the last digit, ohms."""
    said: bool = False
    """There was no value: somebody said that the tips touched."""
    switch: str = ""
    asked: str = ""
    """Position of ``switch`` that the value was taken for; empty outside of a switch check."""
    moved: bool = True
    """The wire was moved while it was watched."""
    warmed: bool = True
    """The winding was warmed while it was logged."""


def matters_in_trial(wanted: Mapping[str, str]) -> frozenset[Topic]:
    """Return what a spark trial practises that has its controls where ``wanted`` says."""
    if not wanted:
        return frozenset()
    joined = {Topic.POSITIONS, Topic.CONNECTORS} if wanted["stop wire"] == "on" else set()
    clipped = {Topic.CLIP_LEAD} if wanted[CLIP_LEAD] != CLIP_OFF else set()
    return frozenset({Topic.STOP_WIRE, *joined, *clipped})


def flaws_in_trial(
    wanted: Mapping[str, str], condition: EngineCondition, engine: Engine
) -> tuple[Flaw, ...]:
    """Return what is wrong with a spark trial: wire, switches and clip lead not as ``wanted``.

    With the stop wire off, nothing that hangs on it matters.
    """
    stands = {control: condition.position(control, engine) for control in wanted}
    wrong = [control for control in wanted if stands[control] != wanted[control]]
    found = [_how_it_stood(control, stands[control], engine) for control in wrong]
    if "stop wire" not in wrong and wanted.get("stop wire") == "on":
        return tuple(found)
    return tuple(flaw for flaw in found if flaw.topic in (Topic.STOP_WIRE, Topic.CLIP_LEAD))


def _how_it_stood(control: str, there: str, engine: Engine) -> Flaw:
    """Return the flaw of a control that stood at ``there``, and ought not to have."""
    if control == "stop wire":
        where = "on its tab" if there == "on" else "off its tab"
        return Flaw(Topic.STOP_WIRE, f"the stop wire was {where}")
    if control == "plug lead":
        where = "on the plug" if there == "on" else there
        return Flaw(Topic.LEAD_OFF, f"the plug lead was {where}")
    if control == CLIP_LEAD:
        where = "off" if there == CLIP_OFF else f"on, from {there}"
        return Flaw(Topic.CLIP_LEAD, f"the clip lead was {where}")
    if control in connectors(engine):
        return Flaw(Topic.CONNECTORS, f"the {control} was {there}")
    return Flaw(Topic.POSITIONS, f"the {control} stood in “{there}”")


CAUTIONS: Final = "cautions"
AMBIENT: Final = "ambient"
FREE: Final = "free"
"""The step in which touches are shown and judged by nothing."""
LEAD_ZERO: Final = "lead-zero"
WATCH_S: Final = Seconds(20.0)
SOAK_S: Final = Seconds(90.0)
"""A soak on the bench takes half an hour; here the winding is warmed as quickly as that."""

_WINDING_STARTS: Final[Mapping[str, frozenset[object]]] = {
    "primary": frozenset({"terminal"}),
    "secondary": frozenset({"clip", "lead end", "tower"}),
}
"""Nodes at the live end of each winding: with or without the lead, the secondary is the same."""
_CORE: Final[frozenset[object]] = frozenset({"core"})


class PracticeMeasurement(msgspec.Struct, frozen=True, kw_only=True):
    """One step made with the probes."""

    check: str
    """In the fault table."""
    step: Step
    nodes: tuple[frozenset[object], frozenset[object]]
    """Nodes of the circuit that do for the one tip and for the other."""
    controls: Mapping[str, str]
    """Where fittings and connectors have to be."""
    matters: frozenset[Topic]
    """What this step practises."""
    largest: float
    """Ohms that the meter's range has to reach, for a sound engine."""
    finest: float
    """Ohms; a coarser last digit than this tells too little."""
    bad: frozenset[str] = frozenset()
    """Outcomes that settle the check though another of its steps is still to come."""

    @property
    def judges(self) -> bool:
        """Whether values are judged one by one, rather than followed for a time."""
        return isinstance(self.step, MeasurementStep | SwitchStep)

    @property
    def switch(self) -> str:
        """Name of the switch that is checked; empty where it is none."""
        return self.step.switch if isinstance(self.step, SwitchStep) else ""

    @property
    def wants_moving(self) -> bool:
        """Whether the wire has to be moved while it is watched."""
        return isinstance(self.step, WatchStep)

    @property
    def wants_warming(self) -> bool:
        """Whether the winding has to be warmed while it is logged."""
        return isinstance(self.step, SoakStep)


def probings(engine: Engine, model: Model, *, tell_places: bool) -> dict[str, PracticeMeasurement]:
    """Return every step that is made with the probes on ``engine``, by the step's id.

    ``tell_places``: the steps say where the probes go; else only what is to be measured.
    """
    found = (*_windings(), *_earthwards(engine), *_switches(engine), *_watches(engine), *_soaks())
    result = {}
    for probing in found:
        node = model.nodes[probing.check]
        say = node.ask if tell_places else f"Measure: {node.say}."
        step = probing.step
        if len([other for other in found if other.check == probing.check]) > 1:
            say = f"{say} Now: {step.title}."
        result[step.id] = msgspec.structs.replace(
            probing, step=msgspec.structs.replace(step, say=say)
        )
    return result


def practice_card(complaint: str, steps: Mapping[str, PracticeMeasurement]) -> Card:
    """Return the card of all ``steps``, to be done in any order from a step that judges nothing."""
    return Card(
        format=1,
        id="practice",
        title="Practice",
        complaint=complaint,
        step=(
            CautionStep(id=CAUTIONS, title="Cautions"),
            EntryStep(id=FREE, title="Probes free", takes="text"),
            EntryStep(id=AMBIENT, title="Temperature of the parts", takes="temperature"),
            LeadZeroStep(id=LEAD_ZERO, title="Lead zero"),
            *(probing.step for probing in steps.values()),
        ),
    )


_ALWAYS: Final = frozenset({Topic.PLACES, Topic.BARE_METAL, Topic.STOP_WIRE, Topic.TOUCHING})
_LOW: Final = _ALWAYS | {Topic.LEAD_ZERO, Topic.RANGE}
_HIGH: Final = _ALWAYS | {Topic.FINGERS, Topic.RANGE}
_NOT_CLIPPED: Final = {CLIP_LEAD: CLIP_OFF}
_WIRE_OFF: Final = {"stop wire": "off"} | _NOT_CLIPPED
_LEAD_OFF: Final = {"plug lead": "off"} | _NOT_CLIPPED


def _windings() -> Iterator[PracticeMeasurement]:
    yield PracticeMeasurement(
        check="primary-resistance",
        step=MeasurementStep(id="primary", title="Primary winding", winding="primary"),
        nodes=(_WINDING_STARTS["primary"], _CORE),
        controls=_WIRE_OFF,
        matters=_LOW,
        largest=1.0,
        finest=0.03,
    )
    yield PracticeMeasurement(
        check="secondary-resistance",
        step=MeasurementStep(id="secondary", title="Secondary winding", winding="secondary"),
        nodes=(_WINDING_STARTS["secondary"], _CORE),
        controls=_LEAD_OFF,
        matters=(_HIGH | {Topic.LEAD_OFF}) - {Topic.STOP_WIRE},
        largest=7e3,
        finest=300.0,
    )
    yield PracticeMeasurement(
        check="lead-resistance",
        step=MeasurementStep(id="lead", title="Plug lead and cap", lead=PLUG_LEAD_ENTRY),
        nodes=(frozenset({"clip"}), frozenset({"tower"})),
        controls=_LEAD_OFF | {"cap": "on"},
        matters=(_LOW | {Topic.LEAD_OFF, Topic.POSITIONS}) - {Topic.STOP_WIRE},
        largest=5.0,
        finest=0.5,
    )
    yield PracticeMeasurement(
        check="insulation",
        step=MeasurementStep(id="insulation", title="Insulation", insulation=INSULATION_ENTRY),
        nodes=(frozenset({"case"}), _CORE),
        controls=_NOT_CLIPPED,
        matters=_HIGH - {Topic.STOP_WIRE},
        largest=1e6,
        finest=1e5,
    )


def _earthwards(engine: Engine) -> Iterator[PracticeMeasurement]:
    earths = frozenset[object]((switch.name, "earth") for switch in engine.switch)
    yield PracticeMeasurement(
        check="earth-path",
        step=MeasurementStep(id="earth", title="Earth path", lead=EARTH_ENTRY),
        nodes=(_CORE, earths),
        controls=_WIRE_OFF,
        matters=_LOW,
        largest=1.0,
        finest=0.1,
    )


def _switches(engine: Engine) -> Iterator[PracticeMeasurement]:
    for switch in engine.switch:
        others = (other.name for other in engine.switch if other.name != switch.name)
        yield PracticeMeasurement(
            check=slug(switch.name),
            step=SwitchStep(id=slug(switch.name), title=switch.name, switch=switch.name),
            nodes=(frozenset({"stop wire"}), frozenset({"block"})),
            controls=_WIRE_OFF
            | {connector(switch.name): "on"}
            | {connector(other): "off" for other in others},
            matters=_ALWAYS | {Topic.CONNECTORS, Topic.RANGE},
            largest=2.0,
            finest=0.5,
        )


def _watches(engine: Engine) -> Iterator[PracticeMeasurement]:
    first = f"{engine.switch[0].name} terminal"
    unplugged = _WIRE_OFF | {connector(switch.name): "off" for switch in engine.switch}
    ends: tuple[tuple[str, str, tuple[str, str], frozenset[object]], ...] = (
        ("wire-ends", "stop wire end to end", (STOP_WIRE, first), frozenset({"stop line"})),
        ("wire-metal", "stop wire to engine metal", (STOP_WIRE, BLOCK), frozenset({"block"})),
    )
    for step, title, between, far in ends:
        yield PracticeMeasurement(
            check="stop-wire-watch",
            step=WatchStep(
                id=step,
                title=title,
                between=between,
                lasts=WATCH_S,
                expect="closed" if step == "wire-ends" else "open",
            ),
            nodes=(frozenset({"stop wire"}), far),
            controls=unplugged if step == "wire-metal" else _WIRE_OFF,
            matters=_ALWAYS | {Topic.MOVING, Topic.CONNECTORS},
            largest=2.0,
            finest=1.0,
            bad=frozenset({"some"}),
        )


def _soaks() -> Iterator[PracticeMeasurement]:
    for winding, largest in (("primary", 1.5), ("secondary", 1e4)):
        yield PracticeMeasurement(
            check="soak",
            step=SoakStep(
                id=f"soak-{winding}",
                title=f"{winding} while warm",
                winding=winding,
                lasts=SOAK_S,
                every=Seconds(10.0),
            ),
            nodes=(_WINDING_STARTS[winding], _CORE),
            controls=_WIRE_OFF | _LEAD_OFF,
            matters=_ALWAYS | {Topic.RANGE, Topic.WARMING},
            largest=largest,
            finest=largest / 30,
            bad=frozenset({"opens-hot"}),
        )


def flaws_in(touch: Touch, probing: PracticeMeasurement, engine: Engine) -> tuple[Flaw, ...]:
    """Return everything that is wrong with ``touch`` for the step of ``probing``."""
    if AIR in (touch.red, touch.black):
        return (Flaw(Topic.TOUCHING, "an open was called with the probes in the air"),)
    return (
        *_at_the_tips(touch, probing, engine),
        *_around(touch, probing, engine),
        *_at_the_meter(touch, probing),
    )


def _at_the_tips(touch: Touch, probing: PracticeMeasurement, engine: Engine) -> Iterator[Flaw]:
    known = places(engine)
    red, black = known[touch.red], known[touch.black]
    one, other = probing.nodes
    right = (red.node in one and black.node in other) or (black.node in one and red.node in other)
    if OTHER_TIP in (touch.red, touch.black):
        yield Flaw(Topic.PLACES, "the tips were on each other")
    elif not right:
        yield Flaw(Topic.PLACES, f"the probes were on “{red.name}” and “{black.name}”")
    for place in (red, black):
        if place.film != "bare":
            film = {"rust": "rust", "paint": "paint"}[place.film]
            yield Flaw(Topic.BARE_METAL, f"a probe was on {film} (“{place.name}”)")
    if touch.fingers and Topic.FINGERS in probing.matters:
        yield Flaw(Topic.FINGERS, "fingers were on the tips")


def _around(touch: Touch, probing: PracticeMeasurement, engine: Engine) -> Iterator[Flaw]:
    lies = EngineCondition(controls=touch.controls)
    for control, wanted in probing.controls.items():
        there = lies.position(control, engine)
        if there != wanted:
            yield _how_it_stood(control, there, engine)
    if touch.asked and touch.switch in controls(engine):
        there = lies.position(touch.switch, engine)
        if there != touch.asked:
            yield Flaw(
                Topic.POSITIONS,
                f"the {touch.switch} stood in “{there}” where “{touch.asked}” was asked for",
            )
    if not touch.moved:
        yield Flaw(Topic.MOVING, "the wire was not moved while it was watched")
    if not touch.warmed:
        yield Flaw(Topic.WARMING, "the winding was never warmed")


def _at_the_meter(touch: Touch, probing: PracticeMeasurement) -> Iterator[Flaw]:
    if Topic.RANGE in probing.matters and touch.range is not None:
        if touch.range * OVER_RANGE < probing.largest:
            yield Flaw(Topic.RANGE, "the meter's range was too low for this part")
        elif not touch.said and touch.resolution > probing.finest:
            yield Flaw(Topic.RANGE, "the meter's range was too coarse for this part")
    if Topic.LEAD_ZERO in probing.matters and not touch.zeroed and not touch.said:
        yield Flaw(Topic.LEAD_ZERO, "no lead zero had been taken")
