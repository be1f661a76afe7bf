"""The work card: the ordered steps of a job, as people write them in TOML; and the kinds of step.

A step may look back (``only_if``) at the outcome of an earlier step, never forward; so a card
cannot loop, and its order is the order in which it lies there.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import Annotated, Final, Literal, Protocol

import msgspec

from meterlink.declared import decode
from meterlink.errors import InvalidFileError
from meterlink.events import CommonEvent
from meterlink.profile import KINDS, Profile
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.meter_check import MeterChecked, MeterCheckStep
from meterlink.steps.repair import Mended, RepairStep
from meterlink.steps.repeat import Repeated, RepeatStep
from meterlink.steps.soak import SoakPoint, SoakStep
from meterlink.steps.step import SKIPPED, StepCondition, Words
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import Dropout, WatchStep

FORMAT: Final = 1

CardId = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,60}$")]

Step = (
    CautionStep
    | EntryStep
    | ConfirmationStep
    | LeadZeroStep
    | MeterCheckStep
    | MeasurementStep
    | RepeatStep
    | RepairStep
    | SwitchStep
    | WatchStep
    | SoakStep
)
"""Every kind of step that there is."""

OwnEvent = MeterChecked | Repeated | Mended | Dropout | SoakPoint
"""The events that one kind of step alone has. The bench takes workers of no others."""

BenchEvent = CommonEvent | OwnEvent
"""Everything that can happen on the bench."""


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
                    f"{name}: step[{index}]: “{step.card}” uses steps of “{borrowed.card}” itself; "
                    "name that card here instead"
                )
            if isinstance(borrowed, CautionStep) or borrowed.id in own:
                continue
            own.add(borrowed.id)
            conditions = step.only_if + borrowed.only_if
            yield msgspec.structs.replace(borrowed, only_if=conditions)


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
            faults.append(f"{at}.id: “{step.id}” is there twice; give each step its own")
        requires = step.requires if isinstance(step, ConfirmationStep) else ()
        for key, conditions in (("only_if", step.only_if), ("requires", requires)):
            found = (_condition_fault(condition, step, card, earlier) for condition in conditions)
            faults += [f"{at}.{key}: {fault}" for fault in found if fault]
        faults += [f"{at}{step.fault}"] if step.fault else []
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
                f"“{step.id}” can never be reached: “{known.id}” would have to end in two ways at "
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
            return f"“{condition.step}” does not come before “{step.id}”; a step can only look back"
        return f"there is no step “{condition.step}”"
    possible = known.outcomes
    impossible = sorted(set(condition.was) - possible) if possible is not None else []
    if impossible:
        return (
            f"“{condition.step}” never ends “{impossible[0]}”, so “{step.id}” might never be "
            f"reached; it can end {', '.join(sorted(possible or ()))}"
        )
    if not condition.was:
        return "was: name at least one outcome"
    return None


# --- the card on one engine ------------------------------------------------------------------

BY_PROFILE: Final = "profile"
"""What ended a step that was passed over, as the engine has no such part."""
_LACKS: Final = "not on this engine: "
_ONCE: Final = "the profile has no "
"""How older records say the same."""


def lacking(step: Step, profile: Profile) -> str:
    """Return why ``step`` cannot be done with ``profile``; empty where it can."""
    if step.wants is None or not profile.lacks(*step.wants):
        return ""
    return f"{_LACKS}{_part_words(step)}"


def steps_on(card: Card, profile: Profile) -> tuple[Step, ...]:
    """Return the steps of ``card`` that an engine of ``profile`` has, in their order.

    Without those whose part it lacks, and those that only an outcome of such a step leads to.
    """
    never = unreachable(card, profile)
    return tuple(s for s in card.step if s.id not in never and not lacking(s, profile))


def unreachable(card: Card, profile: Profile) -> frozenset[str]:
    """Return the steps that no outcome leads to, as ``profile`` lacks what they depend on."""
    lacks = {step.id for step in card.step if lacking(step, profile)}
    never: set[str] = set()
    for step in card.step:
        if any(
            need.step in never or (need.step in lacks and SKIPPED not in need.was)
            for need in step.only_if
        ):
            never.add(step.id)
    return frozenset(never)


def left_out(card: Card, profile: Profile) -> tuple[Step, ...]:
    """Return the steps of ``card`` whose part an engine of ``profile`` lacks, in their order."""
    return tuple(step for step in card.step if lacking(step, profile))


class Ended(Protocol):
    """How a step ended, as its result and the event both say."""

    @property
    def outcome(self) -> str:
        """Word for what came out."""
        ...

    @property
    def reason(self) -> str:
        """Why it was passed over."""
        ...

    @property
    def how(self) -> str:
        """What ended it."""
        ...


def was_left_out(ended: Ended) -> bool:
    """Return whether a step was passed over because the engine has no such part."""
    if ended.outcome != SKIPPED:
        return False
    # Records of earlier versions tell it by the reason alone.
    return ended.how == BY_PROFILE or ended.reason.startswith((_LACKS, _ONCE))


def left_out_words(steps: Iterable[Step]) -> str:
    """Return in one line what ``steps`` look at and the engine lacks; empty where they are none."""
    names = dict.fromkeys(name for step in steps if (name := _part_words(step)))
    return f"{_LACKS}{', '.join(names)}" if names else ""


def _part_words(step: Step) -> str:
    if step.wants is None:
        return ""
    kind, name = step.wants
    return f"{name} {kind}" if kind in ("winding", "gap", "torque") else name


def unused(steps: Iterable[Step], profile: Profile) -> Iterator[tuple[str, str]]:
    """Yield kind and name of the entries of ``profile`` that no step is about."""
    wanted = {step.wants for step in steps}
    for kind in KINDS:
        for part in getattr(profile, kind):
            if (kind, part.name) not in wanted:
                yield kind, part.name
