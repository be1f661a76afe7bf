"""The meter check: a resistor whose value is known, held like any other part."""

from collections.abc import Iterable

from meterlink.bench.steps.base import StepContext, Worker
from meterlink.bench.steps.measurement import wrong_unit
from meterlink.card.card import MeterCheckStep
from meterlink.commands import AnyCommand, Confirm, Enter
from meterlink.errors import NotationError
from meterlink.events import BenchEvent, Entered, Held, Lift, MeterChecked, TouchEvent
from meterlink.judging.known_resistor import KnownResistor, parse_known_resistor
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.reading import Quantity
from meterlink.source import MeterSetup

PASSED, FAILED = "passed", "failed"
"""Outcomes."""


class MeterCheckWorker(Worker):
    """Asks which resistor it is, then holds it. A check that fails can be tried again at once."""

    def __init__(self, step: MeterCheckStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._resistor: KnownResistor | None = None
        said = around.progress.results[step.id]
        self._checked: MeterChecked | None = said.checked
        """The newest check; before a break perhaps."""
        marking = step.resistor or ("" if said.entered is None else said.entered.text)
        if marking:
            self._know(parse_known_resistor(marking))

    def begin(self, t: float) -> Iterable[BenchEvent]:
        say = self._step.say or "Is the meter fit to judge with?"
        if self._checked is not None:
            yield self.ask(t, f"{told(self._checked)} Confirm, or touch again.")
        elif self._resistor is None:
            yield self.ask(
                t,
                f"{say} Type a known resistor, such as «4.7 kohm 1%» or «yellow violet red gold»; "
                "none at hand: skip.",
            )
        else:
            yield self.ask(t, f"{say} {self._where(self._resistor)}")

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        match command:
            case Enter():
                yield from self._typed(command, t)
            case Confirm() if self._checked is not None:
                yield self.end(t, self._outcome, command)
            case Confirm() if self._resistor is None:
                yield self.again(t, "That waits for the resistor.")
            case Confirm():
                yield self.again(t, "Nothing is held yet; keep the probes on.")

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
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

    def _typed(self, command: Enter, t: float) -> Iterable[BenchEvent]:
        try:
            resistor = parse_known_resistor(command.text)
        except NotationError as fault:
            yield self.again(t, f"{fault}.")
            return
        self._know(resistor)
        self._checked = None
        yield Entered(
            t=t,
            step=self.step_id,
            text=plain(command.text.strip()),
            value=resistor.ohms,
            unit="ohm",
            who=command.who,
            when=command.when,
            how=command.how.value,
        )
        yield self.ask(t, f"{told_resistor(resistor)}. {self._where(resistor)} Fingers off.")

    def _check(self, held: Held, resistor: KnownResistor) -> Iterable[BenchEvent]:
        self._checked = checked = self.around.bearings.meter_check(self.step_id, resistor, held)
        yield checked
        if checked.passed:
            yield self.ask(held.t, f"{told(checked)} Lift the probes.")
            return
        yield self.ask(
            held.t,
            f"{told(checked)} Clean the tips and touch it again; confirm to let the failed check "
            "stand.",
        )


def told_resistor(resistor: KnownResistor) -> str:
    """Return value and tolerance of a resistor in words."""
    return f"{format_value(resistor.ohms, 'ohm')}, {resistor.tolerance:g} % either way"


def told(checked: MeterChecked, *, ohm_sign: bool = True) -> str:
    """Return what a check said, as one sentence."""
    shown = format_with_u(checked.corrected, checked.u, "ohm", ohm_sign=ohm_sign)
    marked = format_value(checked.ohms, "ohm", ohm_sign=ohm_sign)
    on = f"{shown} on a resistor of {marked}, {checked.tolerance:g} %"
    if not checked.passed:
        return f"The meter is off by more than it may be: {on}."
    sees = checked.u / checked.ohms if checked.sees is None else checked.sees
    return (
        f"The meter shows no fault: {on}; an error below {100 * sees:.2g} % this check cannot see."
    )
