"""The kinds of step at work: readings and commands in, events out."""

from meterlink.card import (
    CautionStep,
    ConfirmationStep,
    EntryStep,
    LeadZeroStep,
    MeasurementStep,
    MeterCheckStep,
    SoakStep,
    Step,
    SwitchStep,
    WatchStep,
)
from meterlink.steps.base import Surroundings, Worker
from meterlink.steps.checking import MeterCheckWorker
from meterlink.steps.measuring import LeadZeroWorker, MeasurementWorker
from meterlink.steps.said import CautionWorker, ConfirmationWorker, EntryWorker
from meterlink.steps.soaking import SoakWorker
from meterlink.steps.switching import SwitchWorker
from meterlink.steps.watching import WatchWorker


def worker_for(step: Step, around: Surroundings) -> Worker:
    """Return what does ``step``."""
    match step:
        case CautionStep():
            return CautionWorker(step, around)
        case EntryStep():
            return EntryWorker(step, around)
        case ConfirmationStep():
            return ConfirmationWorker(step, around)
        case LeadZeroStep():
            return LeadZeroWorker(step, around)
        case MeterCheckStep():
            return MeterCheckWorker(step, around)
        case MeasurementStep():
            return MeasurementWorker(step, around)
        case SwitchStep():
            return SwitchWorker(step, around)
        case WatchStep():
            return WatchWorker(step, around)
        case SoakStep():
            return SoakWorker(step, around)


__all__ = ["Surroundings", "Worker", "worker_for"]
