"""The work card: the ordered steps of a job, as people write them in TOML.

A step may look back (``only_if``) at the outcome of an earlier step, never forward; so a card
cannot loop, and its order is the order in which it lies there.
"""

from typing import Annotated, Final, Literal

import msgspec

from meterlink.declared import Celsius, InvalidFileError, Ohms, Seconds, decode
from meterlink.profile import Points

FORMAT: Final = 1

StepId = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")]
Words = Annotated[str, msgspec.Meta(max_length=600)]


class Condition(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
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
    only_if: tuple[Condition, ...] = ()
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
    requires: tuple[Condition, ...] = ()
    """Without these a yes is refused: no sign-off before the stop check."""
    signs_off: bool = False
    """A yes to this step signs the job off."""


class LeadZeroStep(_Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="lead-zero"):
    """The probes held together: the resistance of the leads."""

    at_most: Ohms = Ohms(2.0)
    """More than this is no pair of leads."""


class MeasurementStep(
    _Step, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="measurement"
):
    """One value held and judged against the profile."""

    winding: str = ""
    insulation: str = ""
    lead: str = ""
    """Which entry of the profile; exactly one of the three."""
    four_wire: bool = False


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
    | MeasurementStep
    | SwitchStep
    | WatchStep
    | SoakStep
)


class Card(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The ordered steps of one job."""

    format: Literal[1]
    id: Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,60}$")]
    """What ``--card`` takes."""
    title: Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
    about: Words = ""
    complaint: str = ""
    """Which complaint of the fault table this card is for."""
    step: Annotated[tuple[Step, ...], msgspec.Meta(min_length=1, max_length=200)]

    def find(self, step_id: str) -> Step:
        """Return the step with this id.

        Raises:
            KeyError: the card has no such step.
        """
        for step in self.step:
            if step.id == step_id:
                return step
        raise KeyError(step_id)


def read_card(data: bytes, name: str) -> Card:
    """Return the card in ``data``, a TOML text; ``name`` stands for it in errors.

    Raises:
        InvalidFileError: one plain sentence with file, key and what was expected.
    """
    card = decode(data, Card, name)
    for fault in _faults(card):
        raise InvalidFileError(f"{name}: {fault}")
    return card


def outcomes_of(step: Step) -> frozenset[str] | None:
    """Return every outcome that ``step`` can end with, or None where any text can be one."""
    match step:
        case CautionStep():
            own = {"acknowledged"}
        case EntryStep(takes="text"):
            return None
        case EntryStep(takes="choice"):
            own = set(step.choices)
        case EntryStep(takes="temperature"):
            own = {"done", "unknown"}
        case EntryStep():
            own = {"below", "in-window", "above"}
        case ConfirmationStep():
            own = {"yes", "no"}
        case LeadZeroStep():
            own = {"done"}
        case MeasurementStep():
            own = {"open", "short", "below", "in-window", "above", "cannot-tell"}
        case SwitchStep():
            own = {"passed", "stuck-closed", "never-closes"}
        case WatchStep():
            own = {"none", "some"}
        case SoakStep():
            own = {"steady", "opens-hot"}
    return frozenset(own | {"skipped"})


def _faults(card: Card) -> list[str]:
    """Return what is wrong with ``card`` though its shape is right."""
    faults: list[str] = []
    if not isinstance(card.step[0], CautionStep):
        faults.append("step[0]: a card begins with a step of kind «caution»")
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
    return faults


def _condition_fault(
    condition: Condition, step: Step, card: Card, earlier: dict[str, Step]
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
        case WatchStep() if step.lasts <= 0:
            return [".lasts: expected more than nothing"]
        case SoakStep() if not 0 < step.every <= step.lasts:
            return [".every: expected more than nothing and at most «lasts»"]
    return []
