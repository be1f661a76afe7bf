"""Which entry of the profile a step is about, and which steps of a card an engine has."""

from collections.abc import Iterable, Iterator
from typing import Final, Protocol, overload

from meterlink.card.card import (
    SKIPPED,
    Card,
    EntryStep,
    MeasurementStep,
    SoakStep,
    Step,
    SwitchStep,
)
from meterlink.card.profile import (
    KINDS,
    GapSetting,
    Insulation,
    Lead,
    Profile,
    Switch,
    Torque,
    Winding,
)

BY_PROFILE: Final = "profile"
"""What ended a step that was passed over, as the engine has no such part."""
_LACKS: Final = "the profile has no "

ProfilePart = Winding | Insulation | Lead | Switch | GapSetting | Torque


def lacking(step: Step, profile: Profile) -> str:
    """Return why ``step`` cannot be done with ``profile``; empty where it can."""
    wanted = _wanted(step)
    if wanted is None:
        return ""
    kind, name = wanted
    if any(part.name == name for part in getattr(profile, kind)):
        return ""
    return f"{_LACKS}{kind} «{name}»"


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
    """Return whether a step ended thus because the engine has no such part."""
    if ended.outcome != SKIPPED:
        return False
    # Records of earlier versions tell it by the reason alone.
    return ended.how == BY_PROFILE or ended.reason.startswith(_LACKS)


def left_out_words(steps: Iterable[Step]) -> str:
    """Return in one line what ``steps`` look at and the engine lacks; empty where they are none."""
    names = dict.fromkeys(name for step in steps if (name := _part_words(step)))
    return f"not on this engine: {', '.join(names)}" if names else ""


def _part_words(step: Step) -> str:
    wanted = _wanted(step)
    if wanted is None:
        return ""
    kind, name = wanted
    return f"{name} {kind}" if kind in ("winding", "gap", "torque") else name


def unused(steps: Iterable[Step], profile: Profile) -> Iterator[tuple[str, str]]:
    """Yield kind and name of the entries of ``profile`` that no step is about."""
    wanted = {_wanted(step) for step in steps}
    for kind in KINDS:
        for part in getattr(profile, kind):
            if (kind, part.name) not in wanted:
                yield kind, part.name


@overload
def find_part(step: SwitchStep, profile: Profile) -> Switch: ...
@overload
def find_part(step: EntryStep, profile: Profile) -> GapSetting | Torque: ...
@overload
def find_part(step: SoakStep, profile: Profile) -> Winding: ...
@overload
def find_part(step: MeasurementStep, profile: Profile) -> Winding | Insulation | Lead: ...
def find_part(step: Step, profile: Profile) -> ProfilePart:
    """Return the entry of ``profile`` that ``step`` is about.

    Raises:
        KeyError: there is none; ``lacking`` says so beforehand.
    """
    wanted = _wanted(step)
    if wanted is not None:
        kind, name = wanted
        for part in getattr(profile, kind):
            if part.name == name:
                return part  # type: ignore[no-any-return]
    raise KeyError(step.id)


def _wanted(step: Step) -> tuple[str, str] | None:
    match step:
        case MeasurementStep():
            for kind in ("winding", "insulation", "lead"):
                if name := getattr(step, kind):
                    return kind, name
        case SwitchStep():
            return "switch", step.switch
        case SoakStep():
            return "winding", step.winding
        case EntryStep(takes="gap" | "torque"):
            return step.takes, step.of
    return None
