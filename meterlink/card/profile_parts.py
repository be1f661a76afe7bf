"""Which entry of the profile a step is about."""

from collections.abc import Iterable, Iterator
from typing import overload

from meterlink.card.card import EntryStep, MeasurementStep, SoakStep, Step, SwitchStep
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

ProfilePart = Winding | Insulation | Lead | Switch | GapSetting | Torque


def lacking(step: Step, profile: Profile) -> str:
    """Return why ``step`` cannot be done with ``profile``; empty where it can."""
    wanted = _wanted(step)
    if wanted is None:
        return ""
    kind, name = wanted
    if any(part.name == name for part in getattr(profile, kind)):
        return ""
    return f"the profile has no {kind} «{name}»"


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
