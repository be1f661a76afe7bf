"""A scenario: engine, faults, meter, and what a pair of hands does at each step of a card."""

from collections.abc import Callable, Generator
from importlib import resources
from pathlib import Path
from typing import Annotated, Final, Literal

import msgspec

from drivers.simulated.meter import MeterCharacter
from drivers.simulated.world import ContactModel
from meterlink.card import BenchEvent
from meterlink.circuit.engine import Engine, EngineCondition, controls
from meterlink.circuit.wiring import places
from meterlink.commands import (
    Back,
    Confirm,
    Deny,
    How,
    Redo,
    Skip,
    Zero,
)
from meterlink.declared import decode
from meterlink.errors import InvalidFileError, UnreadableError, UsageError
from meterlink.events import Asked, Held, Judged, StepEnded, Zeroed
from meterlink.judging.accuracy import Accuracy
from meterlink.quantities.text import plain
from meterlink.quantities.units import Celsius, Ohms, Seconds


class Knowledge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Each True is a group of commands that the meter obeys; the rest is undefined to it."""

    only_measure: bool = False
    """It knows the one-command measurement, and neither CONFigure nor READ?."""
    configure: bool = True
    """CONFigure and its query."""
    settings: bool = True
    """[SENSe]: function, range and their queries."""
    integration: bool = True
    """NPLCycles."""
    four_wire: bool = True
    """FRESistance."""
    bursts: bool = True
    """SAMPle:COUNt above one."""
    errors: bool = True
    """SYSTem:ERRor?."""
    identity: str = ""
    """What it answers to ``*IDN?``; empty for the simulated bench's own."""


TipPlaces = tuple[str, str]
Tips = Literal["tips"]

VERBS: Final = (
    *("wait", "touch", "lift", "tap", "move", "fingers", "let_go", "flex", "warm", "say", "enter"),
)


class Act(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that hands do: exactly one verb, with what belongs to it."""

    wait: Seconds | None = None
    touch: TipPlaces | Tips | None = None
    """Red and black tip, each on a place; or the tips on one another."""
    until: Literal["held", "judged", "ended", "asked"] | None = None
    """With ``touch``: stay until the bench says so; held is what is meant where nothing is said.
    Judged stands for a lead zero that was taken, too."""
    lasting: Seconds | None = None
    """With ``touch``: stay for this long instead."""
    lift: Seconds | None = None
    """Take the tips off and keep them off for at least this long."""
    tap: Annotated[int, msgspec.Meta(ge=1, le=5)] | None = None
    """Tap the tips together so many times."""
    move: dict[str, str] | None = None
    """Put switches and fittings into positions, wherever the tips are."""
    fingers: Ohms | None = None
    """Fingers on both tips from now on, with this much body between them."""
    let_go: Literal[True] | None = None
    """Fingers off the tips again."""
    flex: Seconds | None = None
    """Move the stop wire about for so long."""
    warm: Celsius | None = None
    """From now on the windings go towards this temperature."""
    within: Seconds = Seconds(120.0)
    """With ``warm``: the time constant."""
    say: Literal["confirm", "deny", "redo", "skip", "back", "zero"] | None = None
    enter: str | None = None
    """A number with its unit, a text or a choice, as typed."""

    @property
    def verbs(self) -> list[str]:
        """The verbs that were given; one is right."""
        return [verb for verb in VERBS if getattr(self, verb) is not None]


WHO: Final = "scripted hands"


def skipping(reason: str) -> Skip:
    """Return what hands say that give a step up."""
    return Skip(reason=reason, how=How.KEY, who=WHO)


SAYS: Final[dict[str, type[Confirm | Deny | Redo | Skip | Back | Zero]]] = {
    "confirm": Confirm,
    "deny": Deny,
    "redo": Redo,
    "skip": Skip,
    "back": Back,
    "zero": Zero,
}


def held(event: BenchEvent) -> bool:
    """Say whether a value was held."""
    return isinstance(event, Held)


def ended(step: str) -> Callable[[BenchEvent], bool]:
    """Return what tells whether an event ends ``step``."""
    return lambda event: isinstance(event, StepEnded) and event.step == step


def until(act: Act, step: str) -> Callable[[BenchEvent], bool]:
    """Return what tells whether an event is the one that ``act`` waits for."""
    match act.until:
        case "judged":
            return lambda event: isinstance(event, Judged | Zeroed) and event.step == step
        case "asked":
            return lambda event: isinstance(event, Asked) and event.step == step
        case "ended":
            return ended(step)
        case _:
            return held


class Await(msgspec.Struct, frozen=True):
    """A wait for something that the bench says, up to a time."""

    wanted: Callable[[BenchEvent], bool]
    limit: float


Wait = float | Await


Acting = Generator[Wait, bool, None]
"""Yields how long, or for what, to wait; gets back whether what was awaited came."""


def asked_or_ended(event: BenchEvent) -> bool:
    """Say whether something is asked, or a step ended."""
    return isinstance(event, Asked | StepEnded)


class StepScript(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What hands do from the moment a step begins. ``do``, or one of the short forms."""

    do: tuple[Act, ...] = ()
    touch: TipPlaces | Tips | None = None
    """Short for: touch these until judged, then lift."""
    switch: str = ""
    """With ``touch``: stay on until the step ends, and put this switch wherever it is asked."""
    say: Literal["confirm", "deny", "redo", "skip", "back", "zero"] | None = None
    """Short for: think, then say so."""
    enter: str | None = None
    """Short for: think, then type so."""

    def acts(self) -> tuple[Act, ...]:
        """Return the acts, short forms written out."""
        if self.do:
            return self.do
        if self.touch is not None:
            until: Literal["judged", "ended"] = "ended" if self.switch else "judged"
            return (Act(touch=self.touch, until=until), Act(lift=Seconds(0.4)))
        if self.enter is not None:
            return (Act(enter=self.enter),)
        return (Act(say=self.say),) if self.say is not None else ()


class HandsScript(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A pair of hands: how quick, how patient, and what they do at each step."""

    think: Seconds = Seconds(0.8)
    """From a new step to the first move."""
    travel: Seconds = Seconds(0.7)
    """From one place to another."""
    notice: Seconds = Seconds(0.35)
    """From what the bench says to what the hands make of it."""
    patience: Seconds = Seconds(12.0)
    """How long they wait for the bench before they try again."""
    tries: Annotated[int, msgspec.Meta(ge=1, le=20)] = 3
    """How often they try a step before they skip it."""
    steps: dict[str, StepScript] = {}
    """By the step's id."""


class BenchAtStart(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How the bench lies there when the scenario begins."""

    ambient: Celsius = Celsius(20.0)
    winding: Celsius | None = None
    """Where the windings are warmer or colder than the room."""
    cooling: Seconds = Seconds(1800.0)
    """Time constant in which they become like the room."""
    controls: dict[str, str] = {}
    """Positions of switches and fittings; the first of each where it is not said."""
    leads: Ohms = Ohms(0.13)
    """Both test leads together."""


class Scenario(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A whole simulated bench."""

    format: Literal[1]
    id: Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,60}$")]
    title: Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
    story: Annotated[str, msgspec.Meta(max_length=600)] = ""
    """Who brought the engine and with what complaint."""
    shows: Annotated[str, msgspec.Meta(max_length=600)] = ""
    """What is to be learned from it."""
    profile: str = ""
    """Coil profile that belongs to the engine."""
    card: str = ""
    """Work card that the hands follow."""
    engine: Engine
    bench: BenchAtStart = BenchAtStart()
    touch: ContactModel = ContactModel()
    meter: MeterCharacter = MeterCharacter()
    scpi: Knowledge = Knowledge()
    hands: HandsScript = HandsScript()

    def condition(self) -> EngineCondition:
        """Return the engine's condition at the start."""
        winding = self.bench.ambient if self.bench.winding is None else self.bench.winding
        return EngineCondition(winding_c=float(winding), controls=self.bench.controls)

    def accuracy(self) -> tuple[Accuracy, ...]:
        """Return the meter's published accuracy, which its own errors keep within."""
        published = Accuracy(
            percent=self.meter.percent,
            counts=self.meter.accuracy_counts,
            source="description of the simulated meter",
        )
        return (published,)

    def with_engine(self, engine: Engine) -> "Scenario":
        """Return the same bench with another engine on it, such as one that was given a fault."""
        return msgspec.structs.replace(self, engine=engine)


def scenario_names() -> list[str]:
    """Return the ids of the scenarios that ship with the program."""
    files = resources.files(__package__) / "scenarios"
    return sorted(
        file.name.removesuffix(".toml") for file in files.iterdir() if file.name.endswith(".toml")
    )


def load_scenario(name: str) -> Scenario:
    """Return the scenario of this id, or the one in the file of this name.

    Raises:
        UsageError: there is no such scenario.
        UnreadableError: the file cannot be read.
        InvalidFileError: the file does not say what it must; file and key are named.
    """
    if name in scenario_names():
        data = (resources.files(__package__) / "scenarios" / f"{name}.toml").read_bytes()
        return read_scenario(data, f"{name}.toml")
    if not name.endswith(".toml"):
        known = ", ".join(scenario_names())
        raise UsageError(f"there is no scenario “{plain(name)}”; there is {known}, or name a file")
    try:
        return read_scenario(Path(name).read_bytes(), name)
    except OSError as fault:
        raise UnreadableError(f"{plain(name)} cannot be read: {fault.strerror}") from fault


def read_scenario(data: bytes, name: str) -> Scenario:
    """Return the scenario in ``data``, a TOML text; ``name`` stands for it in errors.

    Raises:
        InvalidFileError: one plain sentence with file, key and what was expected.
    """
    scenario = decode(data, Scenario, name)
    for fault in _faults(scenario):
        raise InvalidFileError(f"{plain(name)}: {fault}")
    return scenario


def _faults(scenario: Scenario) -> list[str]:
    """Return what is wrong with ``scenario`` though its shape is right."""
    faults = []
    ranges = list(scenario.meter.ranges)
    if ranges != sorted(set(ranges)) or ranges[0] <= 0:
        faults.append("meter.ranges: expected full scales above zero, each larger than the last")
    names = [switch.name for switch in scenario.engine.switch]
    if len(set(names)) < len(names):
        faults.append("engine.switch: two switches have one name; give each its own")
        return faults
    faults += _control_faults(scenario, scenario.bench.controls, "bench.controls")
    for step, script in scenario.hands.steps.items():
        at = f"hands.steps.{plain(step)}"
        forms = [bool(script.do), script.touch is not None, script.say is not None]
        if sum(forms) + (script.enter is not None) != 1:
            faults.append(f"{at}: expected exactly one of do, touch, say and enter")
        if script.switch and script.switch not in names:
            faults.append(f"{at}.switch: the engine has no “{plain(script.switch)}”")
        for index, act in enumerate(script.acts()):
            where = f"{at}.do[{index}]" if script.do else at
            faults += [f"{where}{fault}" for fault in _act_faults(scenario, act)]
            faults += _control_faults(scenario, act.move or {}, f"{where}.move")
    return faults


def _act_faults(scenario: Scenario, act: Act) -> list[str]:
    faults = []
    if len(act.verbs) != 1:
        given = " and ".join(act.verbs) or "none"
        faults.append(f": expected exactly one thing to do, found {given}")
    if isinstance(act.touch, tuple):
        known = places(scenario.engine)
        faults += [
            f".touch: there is no place “{plain(place)}”; there is {', '.join(known)}"
            for place in act.touch
            if place not in known
        ]
    return faults


def _control_faults(scenario: Scenario, moves: dict[str, str], at: str) -> list[str]:
    known = controls(scenario.engine)
    faults = []
    for control, position in moves.items():
        if control not in known:
            faults.append(f"{at}: there is no “{plain(control)}”; there is {', '.join(known)}")
        elif position not in known[control]:
            wanted = ", ".join(known[control])
            faults.append(f"{at}: “{plain(control)}” has no “{plain(position)}”; it has {wanted}")
    return faults
