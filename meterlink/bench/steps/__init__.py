"""The kinds of step at work: readings and commands in, events out."""

from meterlink.bench.steps.base import StepContext, Worker
from meterlink.bench.steps.entry import CautionWorker, ConfirmationWorker, EntryWorker
from meterlink.bench.steps.measurement import LeadZeroWorker, MeasurementWorker
from meterlink.bench.steps.meter_checks import MeterCheckWorker
from meterlink.bench.steps.soak import SoakWorker
from meterlink.bench.steps.switch import SwitchWorker
from meterlink.bench.steps.watch import WatchWorker
from meterlink.card.card import (
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


def worker_for(step: Step, around: StepContext) -> Worker:
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


__all__ = ["StepContext", "Worker", "worker_for"]
