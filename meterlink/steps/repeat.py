"""The repeat touch: the same two points again with the leads swapped; do the two values agree?

Both values are of one meter, one range and one pair of leads, so that what is off in these is off
in both. They can differ by their scatter, by the last digit, and by what changed between them: a
dirty contact, a probe that slipped, a voltage in the part, which turns its sign with the leads.
"""

from collections.abc import Iterable
from math import sqrt

from meterlink.commands import AnyCommand, Confirm
from meterlink.events import CommonEvent, Held, Lift, StepEvent, TouchEvent
from meterlink.judging.correction import without_leads
from meterlink.profile import Points, Profile
from meterlink.quantities.budget import Budget, Component, of_digit
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.units import BELOW_ZERO, AsRead
from meterlink.reading import Quantity
from meterlink.source import MeterSetup
from meterlink.steps.held import wrong_unit
from meterlink.steps.step import SKIPPED, StepBase, StepState
from meterlink.steps.worker import StepContext, Worker

AGREES, DIFFERS = "agrees", "differs"
"""Outcomes."""


class Repeated(StepEvent, frozen=True, kw_only=True, tag="repeated"):
    """The same points were touched a second time, with the leads swapped."""

    contact_t: float
    """When the second touch began."""
    first: float
    """Held value of the first touch, as read, ohms."""
    second: float
    """Held value of the second touch, as read, ohms."""
    readings: int
    """How many readings the two rest on together."""
    difference: float
    """``second`` less ``first``, ohms."""
    u: float
    """Expanded uncertainty of ``difference``, 95 %: scatter and last digit of both touches."""
    mean: float
    """Mean of the two after the lead zero, ohms."""
    budget: tuple[Component, ...] = ()
    """What ``u`` is made of."""

    @property
    def agrees(self) -> bool:
        """Whether the values are no farther apart than the uncertainty of their difference."""
        return abs(self.difference) <= self.u

    @property
    def good(self) -> bool:
        """Whether no alarm goes with it."""
        return self.agrees

    @property
    def fulfils(self) -> bool:
        """The probes have done their part."""
        return True

    @property
    def spoken(self) -> str:
        """What is said aloud of it."""
        return "The two touches agree." if self.agrees else "The two touches differ."

    def tell(self, *, ohm_sign: bool = True) -> str:
        """Return what the two touches said, as one sentence."""
        mean = format_value(self.mean, "ohm", self.u / 2 or None, ohm_sign=ohm_sign)
        apart = self.difference_words(ohm_sign=ohm_sign)
        verdict = "agree" if self.agrees else "differ by more than they may"
        return f"The two touches {verdict}: mean {mean}, difference {apart}."

    def difference_words(self, *, ohm_sign: bool = True) -> str:
        """Return the difference with its uncertainty."""
        return format_with_u(self.difference, self.u, "ohm", ohm_sign=ohm_sign)


class RepeatState(StepState, kw_only=True):
    """The pair of touches that counts."""

    repeated: Repeated | None = None

    def apply(self, event: StepEvent) -> None:
        """Take a pair; the newest counts."""
        if isinstance(event, Repeated):
            self.repeated = event

    def in_short(self, *, ohm_sign: bool) -> str:
        """Return the mean and how far the two are apart."""
        if self.repeated is None:
            return ""
        mean = format_value(
            self.repeated.mean, "ohm", self.repeated.u / 2 or None, ohm_sign=ohm_sign
        )
        return f"{mean}, apart {self.repeated.difference_words(ohm_sign=ohm_sign)}"


class RepeatStep(
    StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="repeat-touch"
):
    """The same two points touched twice, the second time with the leads swapped."""

    between: Points

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({AGREES, DIFFERS, SKIPPED})

    def points(self, profile: Profile) -> tuple[str, ...]:
        return self.between

    def is_good(self, outcome: str, profile: Profile | None) -> bool:
        """Return whether the two touches agree."""
        return outcome == AGREES

    def state(self) -> RepeatState:
        return RepeatState()

    def worker(self, around: StepContext) -> "RepeatWorker":
        return RepeatWorker(self, around)


class RepeatWorker(Worker[Repeated]):
    """Holds one touch, then the other. A break between the two begins with the first again."""

    setup = MeterSetup(quantity=Quantity.RESISTANCE)

    def __init__(self, step: RepeatStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._first: Held | None = None
        self._repeated = around.progress.results[step.id].own.of(RepeatState).repeated
        """The newest pair; before a break perhaps."""

    def begin(self, t: float) -> Iterable[CommonEvent | Repeated]:
        a, b = self._step.between
        if self._repeated is not None:
            yield self.ask(t, f"{self._repeated.tell()} Confirm, or touch both times again.")
        else:
            yield self.ask(t, self._step.say or f"Red probe on {a}, black probe on {b}.")

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent | Repeated]:
        first = self._first
        match event:
            case Held() if wrong := wrong_unit(event):
                yield self.again(event.t, wrong)
            case Held() if event.value < BELOW_ZERO:
                shown = format_value(event.value, "ohm", event.resolution or None)
                yield self.refuse(event.t, f"{shown} is below zero. Zero the meter itself.")
            case Held() if first is not None and event.contact_t != first.contact_t:
                yield from self._compare(first, event)
            case Held():
                self._first, self._repeated = event, None
                shown = format_value(event.value, "ohm", event.resolution or None)
                yield self.ask(
                    event.t, f"{shown} is held. Lift, swap the probes, touch the same points again."
                )
            case Lift() if self._repeated is not None and self._repeated.agrees:
                yield self.end(event.t, AGREES)

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Repeated]:
        if not isinstance(command, Confirm):
            return
        if self._repeated is not None:
            yield self.end(t, AGREES if self._repeated.agrees else DIFFERS, command)
        elif self._first is not None:
            yield self.again(t, "The second touch is still to come.")
        else:
            yield self.again(t, "Nothing is held yet; keep the probes on.")

    def _compare(self, first: Held, second: Held) -> Iterable[CommonEvent | Repeated]:
        self._first = None
        self._repeated = repeated = _repeated(self.step_id, first, second, self.around)
        yield repeated
        if repeated.agrees:
            yield self.ask(second.t, f"{repeated.tell()} Lift the probes.")
            return
        yield self.ask(
            second.t,
            f"{repeated.tell()} Clean both points and touch both times again; confirm to let the "
            "difference stand.",
        )


def _repeated(step: str, first: Held, second: Held, around: StepContext) -> Repeated:
    """Return what the two touches come to together.

    The difference of two independent values has the root sum of squares of their uncertainties
    (GUM 5.1.2); the accuracy of the meter and the leads are the same in both and fall out of it.
    """
    budget = Budget(
        [
            Component(
                name="repeatability",
                u=sqrt(first.u**2 + second.u**2),
                dof=Budget(
                    [Component(name="", u=held.u, dof=held.dof) for held in (first, second)]
                ).dof,
            ),
            Component(
                name="resolution",
                u=sqrt(
                    sum(
                        of_digit(held.resolution or held.step_at_most) ** 2
                        for held in (first, second)
                    )
                ),
            ),
        ]
    )
    mean = AsRead((first.value + second.value) / 2)
    zero = None if around.context.setting.four_wire else around.context.lead_zero
    return Repeated(
        t=second.t,
        step=step,
        contact_t=second.contact_t,
        first=first.value,
        second=second.value,
        readings=first.readings + second.readings,
        difference=second.value - first.value,
        u=budget.expanded,
        mean=without_leads(mean, zero),
        budget=budget.components,
    )
