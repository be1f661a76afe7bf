"""Where a job stands: a fold over its events, live and after a restart alike."""

from collections.abc import Iterable

import msgspec

from meterlink.card.card import Card, LeadZeroStep, MeterCheckStep, Step, StepCondition
from meterlink.events import (
    CardBegan,
    CardEnded,
    Dropout,
    Entered,
    Event,
    Held,
    Judged,
    MeterChecked,
    MeterSet,
    SoakPoint,
    StepBegan,
    StepEnded,
    StepReopened,
    Zeroed,
)


class Basis(msgspec.Struct, frozen=True):
    """What a verdict rests on, so that a correction can judge it again."""

    held: Held
    setting: MeterSet | None
    """What the meter was set to; None where it did not tell, or the value was typed."""


class StepResult(msgspec.Struct, kw_only=True):
    """What one step has said so far."""

    outcome: str = ""
    """Empty while the step is open."""
    reason: str = ""
    how: str = ""
    who: str = ""
    judged: dict[str, Judged] = msgspec.field(default_factory=dict)
    """The verdict that counts, by switch position; the position is empty for a winding."""
    basis: Basis | None = None
    """Of the verdict that counts, where the step has one only and it is no over range."""
    corrected_by: str = ""
    """The step whose correction makes it necessary to judge again: a lead zero, a temperature."""
    entered: Entered | None = None
    zeroed: Zeroed | None = None
    checked: MeterChecked | None = None
    """The check of the meter that counts."""
    dropouts: int = 0
    soak_start: SoakPoint | None = None
    """What a soak began from."""
    soaked_s: float = 0.0
    """Seconds of a soak that its points cover."""


class Progress:
    """The state of a card on the bench, folded from events by ``apply`` and nothing else."""

    def __init__(self, card: Card) -> None:
        self.card = card
        self.results: dict[str, StepResult] = {step.id: StepResult() for step in card.step}
        self.current: str | None = None
        """The step that readings and commands go to; None before the card began and at its end."""
        self.lead_zero: Zeroed | None = None
        self.temperature: float | None = None
        """Temperature of the parts on the bench, in degrees Celsius; None where not known."""
        self.began = False
        self.ended = False
        self.signed_off = False
        self._held: Held | None = None
        self._setting: MeterSet | None = None

    @property
    def meter_failed(self) -> bool:
        """The meter failed its check against a known resistor, and that stands."""
        return any(
            isinstance(step, MeterCheckStep) and self.outcome(step.id) == "failed"
            for step in self.card.step
        )

    def apply_all(self, events: Iterable[Event]) -> None:
        """Fold ``events``, oldest first."""
        for event in events:
            self.apply(event)

    def apply(self, event: Event) -> None:
        """Fold one event. Events of steps that the card does not have are passed over."""
        match event:
            case CardBegan():
                self.began, self.ended = True, False
            case CardEnded():
                self.current, self.ended, self.signed_off = None, True, event.signed_off
            case Held():
                self._held = event
            case MeterSet():
                self._setting = event
            case _ if (step := getattr(event, "step", "")) in self.results:
                self._apply_to(step, event)

    def _apply_to(self, step: str, event: Event) -> None:
        result = self.results[step]
        match event:
            case StepBegan():
                self.current = step
                self._forget_corrections(but=step)
            case Zeroed():
                self.lead_zero = event
                if isinstance(self.card.find(step), LeadZeroStep):
                    result.zeroed = event
            case Entered():
                result.entered = event
                if event.unit == "celsius":
                    self.temperature = event.value
            case StepEnded():
                result.outcome, result.reason = event.outcome, event.reason
                result.how, result.who = event.how, event.who
            case StepReopened():
                self._reopen(step)
            case _:
                self._measured(result, event)

    def _measured(self, result: StepResult, event: Event) -> None:
        match event:
            case Judged():
                result.judged[event.position] = event
                result.corrected_by = ""
                result.basis = self._basis(event, result.basis)
            case MeterChecked():
                result.checked = event
            case Dropout():
                result.dropouts += 1
            case SoakPoint():
                result.soak_start = result.soak_start or event
                result.soaked_s += event.lasted_s

    def _basis(self, judged: Judged, before: Basis | None) -> Basis | None:
        if judged.value is None or judged.position:
            return None
        touch = (judged.contact_t, judged.value)
        if before is not None and (before.held.contact_t, before.held.value) == touch:
            return before  # judged again: it rests on what it rested on
        held = self._held
        if held is not None and (held.contact_t, held.value) == touch:
            return Basis(held, self._setting)
        typed = Held(
            t=judged.t,
            contact_t=judged.contact_t,
            value=judged.value,
            readings=judged.readings,
            noise=judged.noise,
            resolution=judged.resolution,
            u=0.0,
            dof=float("inf"),
        )
        return Basis(typed, None)

    def _reopen(self, step: str) -> None:
        """What a step said before stays in the log and no longer counts."""
        old = self.results[step]
        warmth = old.entered is not None and old.entered.unit == "celsius"
        if old.zeroed is not None and old.zeroed is self.lead_zero:
            self.lead_zero = None
        if warmth:
            self.temperature = None
        self.results[step] = StepResult()
        if warmth or old.zeroed is not None:
            for result in self.results.values():
                result.corrected_by = step if result.basis is not None else ""
        self.ended = self.signed_off = False

    def _forget_corrections(self, but: str) -> None:
        """What a correction made necessary is done before the next step begins."""
        for result in self.results.values():
            if result.corrected_by not in ("", but) and self.outcome(result.corrected_by):
                result.corrected_by = ""

    def outcome(self, step: str) -> str:
        """Return the outcome of ``step``; empty while it is open."""
        return self.results[step].outcome

    def holds(self, conditions: Iterable[StepCondition]) -> bool:
        """Return whether every one of ``conditions`` is met."""
        return all(self.outcome(condition.step) in condition.was for condition in conditions)

    def applies(self, step: Step) -> bool:
        """Return whether ``step`` is to be done as things stand."""
        return self.holds(step.only_if)

    def next_step(self) -> Step | None:
        """Return the first step in the card's order that applies and is open; None at the end."""
        for step in self.card.step:
            if not self.outcome(step.id) and self.applies(step):
                return step
        return None
