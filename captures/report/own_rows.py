"""What a row of the report says of a kind of step that has events of its own.

A kind adds its case to ``own_row``; the type checker complains of one that is forgotten.
"""

from typing import NamedTuple, assert_never

from meterlink.card import Step
from meterlink.quantities.budget import Component
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.meter_check import MeterCheckState, MeterCheckStep
from meterlink.steps.repair import RepairState, RepairStep
from meterlink.steps.repeat import RepeatState, RepeatStep
from meterlink.steps.soak import SoakPoint, SoakState, SoakStep
from meterlink.steps.step import StepState
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import WatchState, WatchStep


class OwnRow(NamedTuple):
    """The cells that the events of a step's own kind fill."""

    value: str = ""
    limits: str = ""
    readings: int = 0
    """How many readings the value rests on; 0 where there is none."""
    budget: tuple[Component, ...] = ()
    notes: tuple[str, ...] = ()


def own_row(step: Step, own: StepState) -> OwnRow:
    """Return what ``own`` says of ``step``; nothing before anything happened."""
    match step:
        case MeterCheckStep():
            return _checked(own.of(MeterCheckState))
        case RepeatStep():
            return _repeated(own.of(RepeatState))
        case RepairStep():
            return OwnRow(" ".join(each.tell() for each in own.of(RepairState).mended))
        case SoakStep():
            return _soaked(own.of(SoakState))
        case WatchStep():
            return _watched(own.of(WatchState))
        case CautionStep() | EntryStep() | ConfirmationStep():
            return OwnRow()
        case LeadZeroStep() | MeasurementStep() | SwitchStep():
            return OwnRow()
        case _ as never:
            assert_never(never)


def _checked(state: MeterCheckState) -> OwnRow:
    checked = state.checked
    if checked is None:
        return OwnRow()
    return OwnRow(
        value=format_with_u(checked.corrected, checked.u),
        limits=f"marked {format_value(checked.ohms)}, {checked.tolerance:g} %",
        readings=checked.readings,
        budget=checked.budget,
        notes=checked.notes,
    )


def _repeated(state: RepeatState) -> OwnRow:
    repeated = state.repeated
    if repeated is None:
        return OwnRow()
    return OwnRow(
        value=state.in_short(ohm_sign=True),
        limits=f"apart at most {format_value(float(f'{repeated.u:.1e}'))}",
        readings=repeated.readings,
        budget=repeated.budget,
    )


def _soaked(state: SoakState) -> OwnRow:
    if state.start is None or state.newest is None:
        return OwnRow()
    return OwnRow(f"{_point(state.start)} to {_point(state.newest)}, as read")


def _point(at: SoakPoint) -> str:
    value = "over range" if at.value is None else format_value(float(f"{at.value:.4g}"), "ohm")
    return value if at.temperature is None else f"{value} at {at.temperature:.0f} °C"


def _watched(state: WatchState) -> OwnRow:
    """How often a watched path left its state, and for how long at most."""
    count, many = state.dropouts, state.dropouts > 1
    if not count:
        return OwnRow()
    if state.stays_open:
        words = f"closed {count} times, the longest for" if many else "closed once, for"
    else:
        words = f"{count} dropouts, the longest" if many else "1 dropout"
    return OwnRow(f"{words} {state.longest_s:.2f} s")
