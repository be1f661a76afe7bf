"""The work card: the ordered steps of a job, as people write them in TOML.

A step may look back (``only_if``) at the outcome of an earlier step, never forward; so a card
cannot loop, and its order is the order in which it lies there.
"""

from collections.abc import Callable, Iterator
from typing import Annotated, Final, Literal

import msgspec

from meterlink.card.profile import Points
from meterlink.declared import Celsius, InvalidFileError, Ohms, Seconds, decode
from meterlink.errors import NotationError
from meterlink.judging.known_resistor import parse_known_resistor

FORMAT: Final = 1

StepId = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")]
CardId = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,60}$")]
Words = Annotated[str, msgspec.Meta(max_length=600)]


class StepCondition(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An earlier step had one of these outcomes."""

    step: StepId
    was: tuple[str, ...]


class _Step(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind"
):
    """What every step says."""

    id: StepId
    title: Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
    say: Words = ""
    """The instruction, one or two sentences."""
    check: str = ""
    """Name of the check in the fault table that this step's outcome feeds."""
    only_if: tuple[StepCondition, ...] = ()
    """All of these must hold, else the step is passed over."""


class CautionStep(_Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="caution"):
    """Cautions, acknowledged before the card goes on."""

    lines: tuple[Words, ...] = ()
    """Cautions of this card alone, shown after the standing ones."""


class EntryStep(_Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="entry"):
    """A number with unit, a text or a choice that a person gives."""

    takes: Literal["text", "choice", "temperature", "gap", "torque"]
    choices: tuple[str, ...] = ()
    """For ``choice``: the answers, which are also the outcomes."""
    of: str = ""
    """For ``gap`` and ``torque``: the name of the entry in the profile."""
    required: bool = True
    """False: may be left empty."""


class ConfirmationStep(
    _Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="confirmation"
):
    """Something to do or to look at, answered yes or no."""

    good: Literal["yes", "no"] = "yes"
    """Which answer is the one hoped for."""
    requires: tuple[StepCondition, ...] = ()
    """Without these a yes is refused: no sign-off before the stop check."""
    signs_off: bool = False
    """A yes to this step signs the job off."""


class LeadZeroStep(_Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="lead-zero"):
    """The probes held together: the resistance of the leads."""

    at_most: Ohms = Ohms(2.0)
    """More than this is no pair of leads."""


class MeterCheckStep(
    _Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="meter-check"
):
    """The meter against a resistor whose value is known: is it fit to judge with?"""

    resistor: Words = ""
    """Value and tolerance, or colour bands, of the one that lies at this bench; else it is
    asked for."""


class MeasurementStep(
    _Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="measurement"
):
    """One value held and judged against the profile."""

    winding: str = ""
    insulation: str = ""
    lead: str = ""
    """Which entry of the profile; exactly one of the three."""
    four_wire: bool = False
    """Ask for four wires though the profile does not; needs the clips for it on the parts."""


class SwitchStep(_Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="switch-check"):
    """A switch in its positions, closed, open, closed under probes that stay on."""

    switch: str
    """Name in the profile."""


class WatchStep(_Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="watch"):
    """A continuous look for dropouts while wires are moved or a part is heated."""

    between: Points
    lasts: Seconds = Seconds(20.0)
    expect: Literal["closed", "open"] = "closed"
    """A wire should stay closed; a path that should stay open must not close."""


class SoakStep(_Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="soak"):
    """Resistance of a winding logged over time while it warms or cools."""

    winding: str
    lasts: Seconds = Seconds(600.0)
    every: Seconds = Seconds(10.0)
    from_temperature: Celsius | None = None


Step = (
    CautionStep
    | EntryStep
    | ConfirmationStep
    | LeadZeroStep
    | MeterCheckStep
    | MeasurementStep
    | SwitchStep
    | WatchStep
    | SoakStep
)


class StepsOf(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    tag_field="kind",
    tag="steps-of",
):
    """In a file: the steps of another card go here, without its cautions and those already there.

    The other card must not do so itself.
    """

    card: CardId
    only_if: tuple[StepCondition, ...] = ()
    """Holds for each of the steps besides its own."""


class _Front(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a card says of itself."""

    format: Literal[1]
    id: CardId
    """What ``--card`` takes."""
    title: Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
    about: Words = ""
    complaint: str = ""
    """Which complaint of the fault table this card is for."""


class _File(_Front, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A card as it stands in its file."""

    step: Annotated[tuple[Step | StepsOf, ...], msgspec.Meta(min_length=1, max_length=200)]


class Card(_Front, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The ordered steps of one job."""

    step: Annotated[tuple[Step, ...], msgspec.Meta(min_length=1, max_length=400)]

    def find(self, step_id: str) -> Step:
        """Return the step with this id.

        Raises:
            KeyError: the card has no such step.
        """
        for step in self.step:
            if step.id == step_id:
                return step
        raise KeyError(step_id)


FetchCard = Callable[[str], bytes]
"""Returns the file of the card with this id.

Raises:
    MeterlinkError: there is none, or it cannot be read.
"""


def read_card(data: bytes, name: str, fetch: FetchCard | None = None) -> Card:
    """Return the card in ``data``, a TOML text; ``name`` stands for it in errors.

    ``fetch`` brings other cards whose steps it uses.

    Raises:
        InvalidFileError: one plain sentence with file, key and what was expected.
    """
    file = decode(data, _File, name)
    card = Card(
        format=file.format,
        id=file.id,
        title=file.title,
        about=file.about,
        complaint=file.complaint,
        step=tuple(_written_out(file.step, name, fetch)),
    )
    for fault in _faults(card):
        raise InvalidFileError(f"{name}: {fault}")
    return card


def _written_out(
    steps: tuple[Step | StepsOf, ...], name: str, fetch: FetchCard | None
) -> Iterator[Step]:
    """Yield ``steps`` with those of other cards in their place."""
    own = {step.id for step in steps if not isinstance(step, StepsOf)}
    for index, step in enumerate(steps):
        if not isinstance(step, StepsOf):
            yield step
            continue
        if fetch is None:
            raise InvalidFileError(
                f"{name}: step[{index}]: steps of other cards cannot be used here"
            )
        other = decode(fetch(step.card), _File, f"{step.card} in {name}")
        for borrowed in other.step:
            if isinstance(borrowed, StepsOf):
                raise InvalidFileError(
                    f"{name}: step[{index}]: «{step.card}» uses steps of «{borrowed.card}» itself; "
                    "name that card here instead"
                )
            if isinstance(borrowed, CautionStep) or borrowed.id in own:
                continue
            own.add(borrowed.id)
            conditions = step.only_if + borrowed.only_if
            yield msgspec.structs.replace(borrowed, only_if=conditions)


_OUTCOMES: Final[dict[type[Step], frozenset[str]]] = {
    ConfirmationStep: frozenset({"yes", "no"}),
    LeadZeroStep: frozenset({"done"}),
    MeterCheckStep: frozenset({"passed", "failed"}),
    MeasurementStep: frozenset({"open", "short", "below", "in-window", "above", "cannot-tell"}),
    SwitchStep: frozenset({"passed", "stuck-closed", "never-closes"}),
    WatchStep: frozenset({"none", "some"}),
    SoakStep: frozenset({"steady", "opens-hot", "cannot-tell"}),
}
"""By kind of step, where every step of the kind can end in the same ways; skipping apart."""


def outcomes_of(step: Step) -> frozenset[str] | None:
    """Return every outcome that ``step`` can end with, or None where any text can be one."""
    match step:
        case CautionStep():
            return frozenset({"acknowledged"})  # the one kind that cannot be skipped
        case EntryStep(takes="text"):
            return None
        case EntryStep(takes="choice"):
            own = frozenset(step.choices)
        case EntryStep(takes="temperature"):
            own = frozenset({"done", "unknown"})
        case EntryStep():
            own = frozenset({"below", "in-window", "above"})
        case _:
            own = _OUTCOMES[type(step)]
    if isinstance(step, EntryStep) and not step.required:
        own |= {"done"}
    return own | {"skipped"}


def _faults(card: Card) -> list[str]:
    """Return what is wrong with ``card`` though its shape is right."""
    faults: list[str] = []
    said_first = next((step for step in card.step if not isinstance(step, EntryStep)), None)
    if not isinstance(said_first, CautionStep):
        faults.append("step: cautions come first; only entries may stand before them")
    earlier: dict[str, Step] = {}
    for index, step in enumerate(card.step):
        at = f"step[{index}]"
        if step.id in earlier:
            faults.append(f"{at}.id: «{step.id}» is there twice; give each step its own")
        requires = step.requires if isinstance(step, ConfirmationStep) else ()
        for key, conditions in (("only_if", step.only_if), ("requires", requires)):
            found = (_condition_fault(condition, step, card, earlier) for condition in conditions)
            faults += [f"{at}.{key}: {fault}" for fault in found if fault]
        faults += [f"{at}{fault}" for fault in _step_faults(step)]
        earlier[step.id] = step
    return faults or [
        f"step[{index}].only_if: {fault}"
        for index, step in enumerate(card.step)
        if (fault := _never_reached(step, earlier))
    ]


def _never_reached(step: Step, steps: dict[str, Step]) -> str:
    """Return why no answers whatever lead to ``step``; empty where some do.

    A step that it depends on must have been reached itself. So all conditions back to the start
    hold together, and no step may be left without an outcome that meets all those on it.
    """
    left: dict[str, frozenset[str]] = {}
    waiting = list(step.only_if)
    while waiting:
        condition = waiting.pop()
        known = steps[condition.step]
        was = frozenset(condition.was)
        left[known.id] = was & left.get(known.id, was)
        if not left[known.id]:
            return (
                f"«{step.id}» can never be reached: «{known.id}» would have to end in two ways at "
                "once"
            )
        waiting += known.only_if
    return ""


def _condition_fault(
    condition: StepCondition, step: Step, card: Card, earlier: dict[str, Step]
) -> str | None:
    known = earlier.get(condition.step)
    if known is None:
        if any(other.id == condition.step for other in card.step):
            return f"«{condition.step}» does not come before «{step.id}»; a step can only look back"
        return f"there is no step «{condition.step}»"
    possible = outcomes_of(known)
    impossible = sorted(set(condition.was) - possible) if possible is not None else []
    if impossible:
        return (
            f"«{condition.step}» never ends «{impossible[0]}», so «{step.id}» might never be "
            f"reached; it can end {', '.join(sorted(possible or ()))}"
        )
    if not condition.was:
        return "was: name at least one outcome"
    return None


def _step_faults(step: Step) -> list[str]:
    match step:
        case EntryStep(takes="choice") if len(set(step.choices)) < 2:
            return [".choices: a choice needs at least two different answers"]
        case EntryStep(takes="gap" | "torque") if not step.of:
            return [f".of: name the [[{step.takes}]] of the profile"]
        case MeasurementStep() if sum(map(bool, (step.winding, step.insulation, step.lead))) != 1:
            return [": name exactly one of winding, insulation and lead"]
        case MeterCheckStep(resistor=marking) if marking:
            try:
                parse_known_resistor(marking)
            except NotationError as fault:
                return [f".resistor: {fault}"]
        case LeadZeroStep() if step.at_most <= 0:
            return [".at_most: expected more than nothing"]
        case WatchStep() if step.lasts <= 0:
            return [".lasts: expected more than nothing"]
        case SoakStep() if not 0 < step.every <= step.lasts:
            return [".every: expected more than nothing and at most «lasts»"]
    return []
