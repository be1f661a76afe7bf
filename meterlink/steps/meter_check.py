"""The meter check: a resistor whose value is known, held like any other part."""

from collections.abc import Iterable

from meterlink.commands import AnyCommand, Confirm, Enter
from meterlink.errors import NotationError
from meterlink.events import CommonEvent, Held, Lift, StepEvent, TouchEvent
from meterlink.judging.meter_check import KnownResistor, check_meter, parse_known_resistor
from meterlink.profile import Profile
from meterlink.quantities.budget import Component
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.reading import Quantity
from meterlink.source import MeterSetup
from meterlink.steps.held import wrong_unit
from meterlink.steps.step import SKIPPED, StepBase, StepState, Words
from meterlink.steps.worker import MeasurementContext, StepContext, Worker

PASSED, FAILED = "passed", "failed"
"""Outcomes."""


class MeterChecked(StepEvent, frozen=True, kw_only=True, tag="meter-checked"):
    """The meter was held against a resistor whose value is known."""

    contact_t: float
    marking: str
    """Of the resistor, as it was given: ``4.7 kohm 1%``, ``yellow violet red gold``."""
    ohms: float
    """What the marking says."""
    tolerance: float
    """Percent of ``ohms``, either way."""
    value: float
    """As read, steadied; ohms."""
    readings: int
    noise: float
    resolution: float
    corrected: float
    """After the leads, ohms."""
    error: float
    """``corrected`` less ``ohms``."""
    u: float
    """Expanded uncertainty of ``error``, 95 %: meter, leads, noise and the marking together."""
    passed: bool
    """``error`` is no larger than ``u``."""
    budget: tuple[Component, ...] = ()
    notes: tuple[str, ...] = ()
    sees: float | None = None
    """Smallest error that it could tell from none, over ``ohms``; None in earlier records."""

    @property
    def good(self) -> bool:
        """Whether the meter may be judged with."""
        return self.passed

    @property
    def fulfils(self) -> bool:
        """The probes have done their part."""
        return True

    @property
    def spoken(self) -> str:
        """What is said aloud of it."""
        return "The meter agrees." if self.passed else "The meter does not agree."

    def tell(self, *, ohm_sign: bool = True) -> str:
        """Return what the check said, as one sentence."""
        shown = format_with_u(self.corrected, self.u, "ohm", ohm_sign=ohm_sign)
        marked = format_value(self.ohms, "ohm", ohm_sign=ohm_sign)
        on = f"{shown} on a resistor of {marked}, {self.tolerance:g} %"
        if not self.passed:
            return f"The meter is off by more than it may be: {on}."
        sees = 100 * (self.u / self.ohms if self.sees is None else self.sees)
        return f"The meter shows no fault: {on}; an error below {sees:.2g} % this check cannot see."


class MeterCheckState(StepState, kw_only=True):
    """The check of the meter that counts."""

    checked: MeterChecked | None = None

    def apply(self, event: StepEvent) -> None:
        """Take a check; the newest counts."""
        if isinstance(event, MeterChecked):
            self.checked = event

    def in_short(self, *, ohm_sign: bool) -> str:
        """Return by how much the meter is off."""
        if self.checked is None:
            return ""
        return f"off by {format_with_u(self.checked.error, self.checked.u, ohm_sign=ohm_sign)}"


class MeterCheckStep(
    StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="meter-check"
):
    """The meter against a resistor whose value is known: is it fit to judge with?"""

    resistor: Words = ""
    """Value and tolerance, or colour bands, of the one that lies at this bench; else it is
    asked for."""

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({PASSED, FAILED, SKIPPED})

    @property
    def fault(self) -> str:
        if self.resistor:
            try:
                parse_known_resistor(self.resistor)
            except NotationError as fault:
                return f".resistor: {fault}"
        return ""

    def is_good(self, outcome: str, profile: Profile | None) -> bool:
        """Return whether the meter may be judged with."""
        return outcome == PASSED

    def state(self) -> MeterCheckState:
        return MeterCheckState()

    def worker(self, around: StepContext) -> "MeterCheckWorker":
        return MeterCheckWorker(self, around)


class MeterCheckWorker(Worker[MeterChecked]):
    """Asks which resistor it is, then holds it. A check that fails can be tried again at once."""

    def __init__(self, step: MeterCheckStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._resistor: KnownResistor | None = None
        said = around.progress.results[step.id]
        self._checked: MeterChecked | None = said.own.of(MeterCheckState).checked
        """The newest check; before a break perhaps."""
        marking = step.resistor or ("" if said.entered is None else said.entered.text)
        if marking:
            self._know(parse_known_resistor(marking))

    def begin(self, t: float) -> Iterable[CommonEvent | MeterChecked]:
        say = self._step.say or "Is the meter fit to judge with?"
        if self._checked is not None:
            yield self.ask(t, f"{self._checked.tell()} Confirm, or touch again.")
        elif self._resistor is None:
            yield self.ask(
                t,
                f"{say} Type a known resistor, such as “4.7 kohm 1%” or “yellow violet red gold”. "
                "None at hand: skip.",
            )
        else:
            yield self.ask(t, f"{say} {self._where(self._resistor)}")

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | MeterChecked]:
        match command:
            case Enter():
                yield from self._typed(command, t)
            case Confirm() if self._checked is not None:
                yield self.end(t, self._outcome, command)
            case Confirm() if self._resistor is None:
                yield self.again(t, "That waits for the resistor.")
            case Confirm():
                yield self.again(t, "Nothing is held yet; keep the probes on.")

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent | MeterChecked]:
        resistor = self._resistor
        match event:
            case Held() if resistor is None:
                yield self.again(event.t, "Which resistor is that?")
            case Held() if wrong := wrong_unit(event):
                yield self.again(event.t, wrong)
            case Held() if resistor is not None:
                yield from self._check(event, resistor)
            case Lift() if self._checked is not None and self._checked.passed:
                yield self.end(event.t, self._outcome)

    @property
    def _outcome(self) -> str:
        return PASSED if self._checked is not None and self._checked.passed else FAILED

    def _know(self, resistor: KnownResistor) -> None:
        self._resistor = resistor
        highest = resistor.ohms * (1 + resistor.tolerance / 100)
        self.setup = MeterSetup(quantity=Quantity.RESISTANCE, expected=highest)

    def _where(self, resistor: KnownResistor) -> str:
        return f"Probes on the two ends of the {format_value(resistor.ohms, 'ohm')} resistor."

    def _typed(self, command: Enter, t: float) -> Iterable[CommonEvent | MeterChecked]:
        try:
            resistor = parse_known_resistor(command.text)
        except NotationError as fault:
            yield self.again(t, f"{fault}.")
            return
        self._know(resistor)
        self._checked = None
        yield self.entered(t, command, plain(command.text.strip()), resistor.ohms, "ohm")
        yield self.ask(t, f"{told_resistor(resistor)}. {self._where(resistor)} Fingers off.")

    def _check(self, held: Held, resistor: KnownResistor) -> Iterable[CommonEvent | MeterChecked]:
        self._checked = checked = _checked(self.step_id, resistor, held, self.around.context)
        yield checked
        if checked.passed:
            yield self.ask(held.t, f"{checked.tell()} Lift the probes.")
            return
        yield self.ask(
            held.t,
            f"{checked.tell()} Clean the tips and touch it again; confirm to let the failed check "
            "stand.",
        )


def told_resistor(resistor: KnownResistor) -> str:
    """Return value and tolerance of a resistor in words."""
    return f"{format_value(resistor.ohms, 'ohm')}, {resistor.tolerance:g} % either way"


def _checked(
    step: str, resistor: KnownResistor, held: Held, context: MeasurementContext
) -> MeterChecked:
    """Return the check of the meter that showed ``held`` on ``resistor``."""
    check = check_meter(
        resistor,
        held,
        context.accuracy,
        context.lead_zero,
        four_wire=context.setting.four_wire,
        full_scale=context.setting.range,
        assumed=context.assumed,
    )
    return MeterChecked(
        t=held.t,
        step=step,
        contact_t=held.contact_t,
        marking=resistor.marking,
        ohms=resistor.ohms,
        tolerance=resistor.tolerance,
        value=held.value,
        readings=held.readings,
        noise=held.noise,
        resolution=held.resolution,
        corrected=check.value,
        error=check.error,
        u=check.budget.expanded,
        passed=check.passed,
        budget=check.budget.components,
        notes=check.notes,
        sees=check.sees,
    )
