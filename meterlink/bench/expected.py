"""Whether an outcome is the one hoped for, by the measure of the step itself."""

from meterlink.card.card import (
    ConfirmationStep,
    EntryStep,
    MeasurementStep,
    MeterCheckStep,
    SoakStep,
    Step,
    SwitchStep,
    WatchStep,
)
from meterlink.events import Verdict


def is_expected(step: Step, outcome: str, good: Verdict | None) -> bool | None:
    """Return whether ``step`` ended as hoped for; None where its outcome says neither.

    ``good``: the verdict that a measurement hopes for; None where it is not known.
    """
    if outcome in ("", "skipped", "cannot-tell"):
        return None
    match step:
        case MeasurementStep():
            return None if good is None else outcome == good.value
        case SwitchStep() | MeterCheckStep():
            return outcome == "passed"
        case ConfirmationStep():
            return None if step.signs_off else outcome == step.good
        case WatchStep():
            return outcome == "none"
        case SoakStep():
            return outcome == "steady"
        case EntryStep(takes="gap" | "torque"):
            return outcome == "in-window"
        case _:
            return None
