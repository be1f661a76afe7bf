"""Scenarios: a virtual engine, a meter, a bench and a pair of hands, as people write them."""

from importlib import resources
from pathlib import Path
from typing import Annotated, Literal

import msgspec

from drivers.simulated.acts import Act, HandsScript, Knowledge
from drivers.simulated.contact import ContactModel
from drivers.simulated.meter import MeterCharacter
from meterlink.circuit.engine import Engine, EngineCondition, controls
from meterlink.circuit.wiring import places
from meterlink.declared import InvalidFileError, decode
from meterlink.errors import UnreadableError, UsageError
from meterlink.judging.accuracy import Accuracy
from meterlink.quantities.text import plain
from meterlink.quantities.units import Celsius, Ohms, Seconds


class Start(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
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
    bench: Start = Start()
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
        raise UsageError(f"there is no scenario «{plain(name)}»; there is {known}, or name a file")
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
            faults.append(f"{at}.switch: the engine has no «{plain(script.switch)}»")
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
            f".touch: there is no place «{plain(place)}»; there is {', '.join(known)}"
            for place in act.touch
            if place not in known
        ]
    return faults


def _control_faults(scenario: Scenario, moves: dict[str, str], at: str) -> list[str]:
    known = controls(scenario.engine)
    faults = []
    for control, position in moves.items():
        if control not in known:
            faults.append(f"{at}: there is no «{plain(control)}»; there is {', '.join(known)}")
        elif position not in known[control]:
            wanted = ", ".join(known[control])
            faults.append(f"{at}: «{plain(control)}» has no «{plain(position)}»; it has {wanted}")
    return faults
