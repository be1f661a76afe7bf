"""What is wrong with a touch or a spark trial: the slips that make a good part seem bad."""

from collections.abc import Iterator, Mapping
from typing import Final

import msgspec

from meterlink.circuit.condition import CLIP_LEAD, CLIP_OFF, EngineCondition, connectors, controls
from meterlink.circuit.engine import Engine
from meterlink.circuit.places import AIR, OTHER_TIP, places
from meterlink.training.measurements import PracticeMeasurement
from meterlink.training.topics import Topic

OVER_RANGE: Final = 1.2
"""Times its full scale, a range still reads."""


class Flaw(msgspec.Struct, frozen=True):
    """One thing that was wrong with a touch."""

    topic: Topic
    say: str
    """As part of a sentence: «the stop wire was on its tab»."""


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


def flaws_in(touch: Touch, probing: PracticeMeasurement, engine: Engine) -> tuple[Flaw, ...]:
    """Return everything that is wrong with ``touch`` for the step of ``probing``."""
    if AIR in (touch.red, touch.black):
        return (Flaw(Topic.TOUCHING, "an open was called with the probes in the air"),)
    return (
        *_at_the_tips(touch, probing, engine),
        *_around(touch, probing, engine),
        *_at_the_meter(touch, probing),
    )


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
        where = "on the plug" if there == "on" else f"{there}"
        return Flaw(Topic.LEAD_OFF, f"the plug lead was {where}")
    if control == CLIP_LEAD:
        where = "off" if there == CLIP_OFF else f"on, from {there}"
        return Flaw(Topic.CLIP_LEAD, f"the clip lead was {where}")
    if control in connectors(engine):
        return Flaw(Topic.CONNECTORS, f"the {control} was {there}")
    return Flaw(Topic.POSITIONS, f"the {control} stood in «{there}»")


def _at_the_tips(touch: Touch, probing: PracticeMeasurement, engine: Engine) -> Iterator[Flaw]:
    known = places(engine)
    red, black = known[touch.red], known[touch.black]
    one, other = probing.nodes
    right = (red.node in one and black.node in other) or (black.node in one and red.node in other)
    if OTHER_TIP in (touch.red, touch.black):
        yield Flaw(Topic.PLACES, "the tips were on each other")
    elif not right:
        yield Flaw(Topic.PLACES, f"the probes were on «{red.name}» and «{black.name}»")
    for place in (red, black):
        if place.film != "bare":
            film = {"rust": "rust", "paint": "paint"}[place.film]
            yield Flaw(Topic.BARE_METAL, f"a probe was on {film} («{place.name}»)")
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
                f"the {touch.switch} stood in «{there}» where «{touch.asked}» was asked for",
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
