"""A case: one engine with a hidden fault, drawn by seed, and how hard it is to find.

How hard is measured: by how many checks the advice itself takes on that very engine.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Final, Literal, get_args

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.random import Generator

from meterlink.circuit.engine import Engine, EngineSwitch, EngineWinding
from meterlink.circuit.faults import Patient, afflict, slug
from meterlink.circuit.wiring import (
    BLOCK,
    CASE,
    INSULATION_OHM,
    LAMINATIONS,
    LEAD_SOCKET,
    PLUG_LEAD,
    POOR_EARTH_OHM,
    STOP_WIRE,
)
from meterlink.circuit.workshop import Workshop
from meterlink.declared import decode
from meterlink.errors import InvalidFileError, UsageError
from meterlink.finding.model import Model
from meterlink.finding.search import Walk, follow, once
from meterlink.finding.shape import FaultTable, Suspect
from meterlink.finding.table import shipped_table
from meterlink.profile import Insulation, Lead, Profile
from meterlink.profile import Switch as SwitchEntry
from meterlink.quantities.text import plain
from meterlink.quantities.units import Ohms

STOP_SWITCH: Final = "stop switch"
SWITCHES: Final[Mapping[str, Mapping[str, Literal["closed", "open"]]]] = {
    STOP_SWITCH: {"stop": "closed", "run": "open"},
    "brake switch": {"let go": "closed", "held": "open"},
    "throttle switch": {"stop": "closed", "open": "open"},
    "key switch": {"off": "closed", "on": "open"},
    "low-oil switch": {"low": "closed", "full": "open"},
    "seat switch": {"up": "closed", "down": "open"},
}
"""Every switch that an engine can have, with the state of its contacts in each position."""
SWITCH_NAMED: Final[Mapping[str, str]] = {slug(name): name for name in SWITCHES}
"""The same by the fault table's name for it."""
PLUG_LEAD_ENTRY: Final = "plug lead"
EARTH_ENTRY: Final = "earth path"
INSULATION_ENTRY: Final = "armature case"
_SOURCE: Final = "invented for practice"


def sound_engine(rng: Generator, switches: Sequence[str]) -> Engine:
    """Return a sound engine with these switches, the stop switch among them or not."""
    return Engine(
        name="portable pump set",
        primary=EngineWinding(ohms=Ohms(rng.uniform(0.78, 0.92)), henries=0.003),
        secondary=EngineWinding(ohms=Ohms(rng.uniform(4700, 6200)), henries=9.0),
        switch=tuple(
            EngineSwitch(name=name, positions=dict(SWITCHES[name]))
            for name in SWITCHES
            if name in {STOP_SWITCH, *switches}
        ),
    )


def practice_profile(base: Profile, engine: Engine) -> Profile:
    """Return ``base`` with an entry for everything on ``engine`` that a meter can be put to."""
    first = engine.switch[0].name
    return replace(
        base,
        switch=tuple(
            SwitchEntry(
                name=switch.name,
                between=(STOP_WIRE, BLOCK),
                positions=switch.positions,
                source=_SOURCE,
            )
            for switch in engine.switch
        ),
        lead=(
            Lead(
                name=PLUG_LEAD_ENTRY,
                between=(PLUG_LEAD, LEAD_SOCKET),
                low=Ohms(0),
                high=Ohms(5),
                source=_SOURCE,
            ),
            Lead(
                name=EARTH_ENTRY,
                between=(LAMINATIONS, f"{first} earth terminal"),
                low=Ohms(0),
                high=Ohms(POOR_EARTH_OHM),
                source="common practice, no published source",
            ),
        ),
        insulation=(
            Insulation(
                name=INSULATION_ENTRY,
                between=(CASE, LAMINATIONS),
                at_least=Ohms(INSULATION_OHM),
                source="common practice, no published source",
            ),
        ),
    )


Difficulty = Literal["easy", "medium", "hard"]
DIFFICULTIES: Final[tuple[str, ...]] = get_args(Difficulty)
COMPLAINT_SHARES: Final = {"no-spark": 0.6, "wont-stop": 0.2, "dies-hot": 0.2}
"""How often each complaint comes in: a judgement of the authors."""
_CHECKS: Final = {"easy": (1, 6), "medium": (5, 12), "hard": (9, 99)}
"""How many checks the advice takes, from and to, on an engine that is so hard."""
_MOST_SWITCHES: Final = {"easy": 1, "medium": 2, "hard": 3}
_TRIES: Final = 60
"""Engines looked at before the one that comes nearest has to do."""
_COARSE_RANGES: Final = (100.0, 1e6, 1e8)


TOGETHER: Final = "+"
MOST_FAULTS: Final = 2


class Order(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is asked of a case; the same order always gives the same case."""

    seed: Annotated[int, msgspec.Meta(ge=0, le=2**53)] = 1
    difficulty: Difficulty = "medium"
    fault: Annotated[str, msgspec.Meta(max_length=80)] = ""
    """A fault of the table, or two with «+» between; empty: any."""
    complaint: Annotated[str, msgspec.Meta(max_length=80)] = ""
    """A complaint of the table; empty: any that fits."""

    @property
    def faults(self) -> tuple[str, ...]:
        """The faults that are asked for; none where any will do."""
        return tuple(name.strip() for name in self.fault.split(TOGETHER) if name.strip())


class Case(msgspec.Struct, frozen=True, kw_only=True):
    """One engine to be practised on."""

    order: Order
    model: Model
    patient: Patient
    profile: Profile
    walk: Walk
    """What the best next checks take on this engine, and where they lead."""
    range: float | None
    """Full scale that the meter was left on, ohms; None: it ranges by itself."""

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """The fault that the engine has, or the two, as the table knows them."""
        known = {suspect.name: suspect for suspect in self.model.suspects}
        return tuple(known[fault] for fault in self.patient.faults)

    @property
    def places(self) -> tuple[str, ...]:
        """Where the faults are."""
        return tuple(suspect.place for suspect in self.suspects)

    @property
    def can_be_found(self) -> bool:
        """Whether the advice ends in the right place on this engine."""
        return self.walk.place in self.places

    @property
    def tells_places(self) -> bool:
        """Whether a check says where the probes go."""
        return self.order.difficulty == "easy"


def fault_names(table: FaultTable | None = None) -> list[str]:
    """Return every fault that can be ordered, whatever the complaint and the switches."""
    table = table or shipped_table()
    found: dict[str, None] = {}
    for complaint in table.complaints:
        for suspect in Model(table, complaint, list(SWITCH_NAMED)).suspects:
            found[suspect.name] = None
    return list(found)


def draw(order: Order, base: Profile) -> Case:
    """Return the case of ``order``; ``base`` is the profile that all engines go by.

    Raises:
        UsageError: no such fault or complaint, or no engine has that fault with that complaint.
    """
    complaints = check_order(order)
    rng = np.random.default_rng(order.seed)
    low, high = _CHECKS[order.difficulty]
    cases: list[Case] = []
    for _ in range(_TRIES):
        cases.append(_drawn(order, complaints, base, rng))
        if cases[-1].can_be_found and low <= len(cases[-1].walk.checks) <= high:
            return cases[-1]
    return min(
        cases,
        key=lambda case: (not case.can_be_found, _beside(len(case.walk.checks), low, high)),
    )


def engines_like(case: Case, base: Profile, draws: int) -> Iterator[tuple[float, Walk]]:
    """Yield share and walk of engines that come in with the same complaint and switches.

    What the trainee could know before the first check: the advice's checks over these are what
    was to be expected.
    """
    rng = np.random.default_rng(case.order.seed + 1)
    names = [switch.name for switch in case.patient.sound.switch]
    for suspect, prior in zip(case.model.suspects, case.model.alone, strict=True):
        for _ in range(draws):
            engine = sound_engine(rng, names)
            patient = afflict(engine, suspect.name, case.model.complaint, rng)
            workshop = Workshop(patient, practice_profile(base, engine))
            yield float(prior) / draws, follow(case.model, workshop.answer, once)


def check_order(order: Order) -> Sequence[str]:
    """Return the complaints that the order leaves open.

    Raises:
        UsageError: no such fault or complaint, or no engine has that fault with that complaint.
    """
    table = shipped_table()
    if order.complaint and order.complaint not in table.complaints:
        known = ", ".join(table.complaints)
        raise UsageError(f"there is no complaint “{plain(order.complaint)}”; there is {known}")
    for fault in order.faults:
        if fault not in fault_names(table):
            known = ", ".join(fault_names(table))
            raise UsageError(f"there is no fault “{plain(fault)}”; there is {known}")
    fits = [complaint for complaint in table.complaints if _can(order.faults, complaint)]
    if len(order.faults) > MOST_FAULTS or not fits:
        raise UsageError(
            f"no engine comes in with “{plain(order.fault)}”; give one fault, or two in different "
            "places that make the same complaint"
        )
    if order.complaint and order.complaint not in fits:
        raise UsageError(
            f"the fault “{order.fault}” never makes an engine come in with “{order.complaint}”; "
            f"it goes with {', '.join(fits)}"
        )
    if order.complaint:
        return [order.complaint]
    mild = [complaint for complaint in fits if complaint != "dies-hot"]
    return mild if order.difficulty != "hard" and mild else fits


def _can(faults: Sequence[str], complaint: str) -> bool:
    """Return whether each of ``faults`` makes an engine come in like this, each in its place."""
    model = Model(shipped_table(), complaint, list(SWITCH_NAMED))
    places = {suspect.name: suspect.place for suspect in model.suspects}
    return len({places[fault] for fault in faults if fault in places}) == len(faults)


def _drawn(order: Order, complaints: Sequence[str], base: Profile, rng: Generator) -> Case:
    shares = np.array([COMPLAINT_SHARES.get(complaint, 0.2) for complaint in complaints])
    complaint = str(rng.choice(list(complaints), p=shares / shares.sum()))
    switches = _switches(order, rng)
    model = Model(shipped_table(), complaint, [slug(name) for name in switches])
    faults = order.faults
    if not faults:
        faults = (model.suspects[int(rng.choice(len(model.alone), p=model.alone))].name,)
    engine = sound_engine(rng, switches)
    patient = afflict(engine, faults, complaint, rng)
    profile = practice_profile(base, engine)
    left_on = float(rng.choice(_COARSE_RANGES)) if order.difficulty == "hard" else None
    return Case(
        order=order,
        model=model,
        patient=patient,
        profile=profile,
        walk=follow(model, Workshop(patient, profile).answer, once),
        range=left_on,
    )


def _switches(order: Order, rng: Generator) -> list[str]:
    """Draw the engine's switches: the stop switch, the one at fault, and some more."""
    at_fault = [
        name
        for known, name in SWITCH_NAMED.items()
        if any(f.startswith(f"{known}-") for f in order.faults)
    ]
    chosen = list(dict.fromkeys([STOP_SWITCH, *at_fault]))
    wanted = int(rng.integers(1, _MOST_SWITCHES[order.difficulty] + 1))
    others = [str(name) for name in rng.permutation([n for n in SWITCHES if n not in chosen])]
    return [*chosen, *others[: max(0, wanted - len(chosen))]]


def _beside(count: int, low: int, high: int) -> int:
    return max(low - count, count - high, 0)


class PracticeExercise(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the file says."""

    format: Literal[1]
    title: Annotated[str, msgspec.Meta(max_length=80)] = ""
    story: Annotated[str, msgspec.Meta(max_length=600)] = ""
    seed: Annotated[int, msgspec.Meta(ge=0, le=2**53)] = 1
    difficulty: Difficulty = "medium"
    fault: Annotated[str, msgspec.Meta(max_length=80)] = ""
    complaint: Annotated[str, msgspec.Meta(max_length=80)] = ""

    @property
    def order(self) -> Order:
        """The case that it orders."""
        return Order(
            seed=self.seed,
            difficulty=self.difficulty,
            fault=self.fault,
            complaint=self.complaint,
        )


def read_exercise(data: bytes, name: str) -> PracticeExercise:
    """Return the exercise in ``data``, a TOML text; ``name`` stands for it in errors.

    Raises:
        InvalidFileError: it does not say what it must, or orders what there is not.
    """
    exercise = decode(data, PracticeExercise, name)
    try:
        check_order(exercise.order)
    except UsageError as fault:
        raise InvalidFileError(f"{plain(name)}: {fault}") from fault
    return msgspec.structs.replace(
        exercise, title=plain(exercise.title), story=plain(exercise.story, 600)
    )
