"""The lead zero: the probe tips held together give the resistance of the leads."""

from collections.abc import Iterable
from typing import Final, Never

from meterlink.commands import AnyCommand, Confirm, Enter
from meterlink.errors import NotationError
from meterlink.events import CommonEvent, Held, Lift, TouchEvent, Zeroed
from meterlink.judging.assumed import LEADS
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.quantities.units import BELOW_ZERO, Ohms
from meterlink.reading import Quantity
from meterlink.source import MeterSetup, Setting
from meterlink.steps.held import typed_hold, wrong_unit
from meterlink.steps.step import SKIPPED, StepBase
from meterlink.steps.worker import StepContext, Worker

LEADS_AT_MOST: Final = Ohms(2.0)
"""More than this is no pair of leads; a card may say less or more for its own step."""


class LeadZeroStep(
    StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="lead-zero"
):
    """The probes held together: the resistance of the leads."""

    at_most: Ohms = LEADS_AT_MOST
    """More than this is no pair of leads."""

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({"done", SKIPPED})

    @property
    def fault(self) -> str:
        return ".at_most: expected more than nothing" if self.at_most <= 0 else ""

    def worker(self, around: StepContext) -> "LeadZeroWorker":
        return LeadZeroWorker(self, around)


class LeadZeroWorker(Worker[Never]):
    """Takes the hold of the tips for the lead zero, unless that can be no pair of leads."""

    setup = MeterSetup(quantity=Quantity.RESISTANCE, expected=1.0)

    def __init__(self, step: LeadZeroStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        taken = around.progress.results[step.id].zeroed
        self._taken = taken is not None
        """Before a break perhaps."""

    def begin(self, t: float) -> Iterable[CommonEvent]:
        taken = self.around.progress.results[self.step_id].zeroed
        if taken is None:
            yield self.ask(t, self._step.say or "Hold the probe tips together.")
        else:
            shown = format_value(taken.value, "ohm", taken.resolution)
            yield self.ask(t, f"The lead zero is {shown}. Confirm, or hold the tips together.")

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent]:
        match event:
            case Held() if wrong := wrong_unit(event):
                yield self.again(event.t, wrong)
            case Held() if event.value > self._step.at_most:
                shown = format_value(event.value, "ohm")
                yield self.again(event.t, f"{shown} is too much for leads. Hold metal to metal.")
            case Held() if event.value < BELOW_ZERO:
                yield self.refuse(
                    event.t,
                    f"{format_value(event.value, 'ohm')} is below zero. Choose a finer range, or "
                    "zero the meter itself.",
                )
            case Held() if not self.around.gestures:
                shown = format_value(event.value, "ohm", event.resolution)
                yield self.ask(event.t, f"{shown} held. The command “zero” takes it as lead zero.")
            case Held() if doubt := self._doubt(event):
                yield self.ask(event.t, doubt)
            case Held():
                self._taken = True
                yield zeroed(self.step_id, event, self.around.setting)
                yield self.ask(event.t, "Lead zero taken. Lift the probes.")
            case Lift() if self._taken:
                yield self.end(event.t, "done")

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
        if isinstance(command, Confirm) and self._taken:
            yield self.end(t, "done", command)
        if isinstance(command, Enter):
            yield from self._typed(command, t)

    def _doubt(self, held: Held) -> str:
        """Return why ``held`` is hardly the leads, and what to do; empty where it may well be.

        A primary winding has little more than worn leads: probes on it in place of the tips must
        not become a zero without a word.
        """
        most = self.around.context.assumed.leads_at_most or LEADS[1]
        windings = [w for w in self.around.profile.winding if w.judged_by_resistance and w.low]
        like = next((w for w in windings if held.value in w.criterion.window), None)
        if like is None and held.value <= most:
            return ""
        what = f"more than leads have, {format_value(most, 'ohm')} or less"
        if like is not None:
            what = f"what the {plain(like.name)} winding has"
        return (
            f"{format_value(held.value, 'ohm', held.resolution)} is {what}. Hold the tips on each "
            "other alone. If it is the leads, the command “zero” takes it."
        )

    def _typed(self, command: Enter, t: float) -> Iterable[CommonEvent]:
        try:
            held = typed_hold(command.text, t)
        except NotationError as fault:
            yield self.again(t, f"{fault}.")
            return
        if not 0 <= held.value <= self._step.at_most:
            most = format_value(self._step.at_most, "ohm")
            yield self.again(t, f"The leads are between zero and {most}; type such as “0.12 ohm”.")
            return
        yield self.entered(t, command, plain(command.text.strip()), held.value, "ohm")
        yield zeroed(self.step_id, held, None)
        yield self.end(t, "done", command)


def zeroed(step: str, held: Held, setting: Setting | None) -> Zeroed:
    """Return the lead zero that ``held`` gives, taken with the meter set to ``setting``."""
    return Zeroed(
        t=held.t,
        step=step,
        value=held.value,
        u=held.u,
        dof=held.dof,
        resolution=held.resolution,
        range=None if setting is None else setting.range,
    )
