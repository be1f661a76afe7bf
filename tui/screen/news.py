"""How good an outcome is: what was hoped for, what was not, or neither."""

from meterlink.card import (
    CautionStep,
    ConfirmationStep,
    EntryStep,
    MeasurementStep,
    SoakStep,
    Step,
    SwitchStep,
    WatchStep,
)
from meterlink.events import Judged, Verdict
from meterlink.profile import Insulation, Profile
from meterlink.steps.parts import find_part
from tui.screen.forms import Tone


def tone_of_outcome(step: Step, outcome: str, profile: Profile) -> Tone:
    """Return how good it is that ``step`` ended with ``outcome``."""
    if outcome in {"", "skipped", "cannot-tell", "unknown"}:
        return Tone.NONE
    match step:
        case CautionStep():
            hoped = outcome == "acknowledged"
        case EntryStep(takes="gap" | "torque"):
            hoped = outcome == "in-window"
        case ConfirmationStep():
            hoped = outcome == step.good
        case MeasurementStep():
            hoped = outcome == good_verdict(step, profile).value
        case SwitchStep():
            hoped = outcome == "passed"
        case WatchStep():
            hoped = outcome == "none"
        case SoakStep():
            hoped = outcome == "steady"
        case _:
            hoped = True
    return Tone.GOOD if hoped else Tone.BAD


def tone_of_verdict(step: Step, judged: Judged, profile: Profile) -> Tone:
    """Return how good ``judged`` is; unsure where it is close."""
    if not judged.clear:
        return Tone.UNSURE
    return Tone.GOOD if is_hoped_for(step, judged, profile) else Tone.BAD


def is_hoped_for(step: Step, judged: Judged, profile: Profile) -> bool:
    """Return whether the verdict of ``judged`` is the one that ``step`` hopes for."""
    match step:
        case MeasurementStep():
            return judged.verdict is good_verdict(step, profile)
        case SwitchStep():
            state = find_part(step, profile).positions.get(judged.position, "closed")
            return judged.verdict is (Verdict.OPEN if state == "open" else Verdict.IN_WINDOW)
        case _:
            return judged.verdict is Verdict.IN_WINDOW


def good_verdict(step: MeasurementStep, profile: Profile) -> Verdict:
    """Return the verdict that a measurement hopes for."""
    part = find_part(step, profile)
    return Verdict.OPEN if isinstance(part, Insulation) else Verdict.IN_WINDOW
