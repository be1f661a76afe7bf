"""Where a job stands: a fold over its events, live and after a restart alike."""

from collections.abc import Iterable

import msgspec

from meterlink.card import Card, Condition, Step
from meterlink.events import (
    CardBegan,
    CardEnded,
    Dropout,
    Entered,
    Event,
    Judged,
    StepBegan,
    StepEnded,
    StepReopened,
    Zeroed,
)


class StepResult(msgspec.Struct, kw_only=True):
    """What one step has said so far."""

    outcome: str = ""
    """Empty while the step is open."""
    reason: str = ""
    how: str = ""
    who: str = ""
    judged: dict[str, Judged] = msgspec.field(default_factory=dict)
    """The verdict that counts, by switch position; the position is empty for a winding."""
    entered: Entered | None = None
    zeroed: Zeroed | None = None
    dropouts: int = 0


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

    def apply_all(self, events: Iterable[Event]) -> None:
        """Fold ``events``, oldest first."""
        for event in events:
            self.apply(event)

    def apply(self, event: Event) -> None:
        """Fold one event. Events of steps that the card does not have are passed over."""
        match event:
            case CardBegan():
                self.began, self.ended = True, False
                return
            case CardEnded():
                self.current, self.ended, self.signed_off = None, True, event.signed_off
                return
        result = self.results.get(getattr(event, "step", ""))
        if result is None:
            return
        match event:
            case StepBegan():
                self.current = event.step
            case Judged():
                result.judged[event.position] = event
            case Zeroed():
                result.zeroed = self.lead_zero = event
            case Entered():
                result.entered = event
                if event.unit == "celsius":
                    self.temperature = event.value
            case Dropout():
                result.dropouts += 1
            case StepEnded():
                result.outcome, result.reason = event.outcome, event.reason
                result.how, result.who = event.how, event.who
            case StepReopened():
                self._reopen(event.step)

    def _reopen(self, step: str) -> None:
        """What a step said before stays in the log and no longer counts."""
        old = self.results[step]
        if old.zeroed is not None and old.zeroed is self.lead_zero:
            self.lead_zero = None
        if old.entered is not None and old.entered.unit == "celsius":
            self.temperature = None
        self.results[step] = StepResult()
        self.ended = self.signed_off = False

    def outcome(self, step: str) -> str:
        """Return the outcome of ``step``; empty while it is open."""
        return self.results[step].outcome

    def holds(self, conditions: Iterable[Condition]) -> bool:
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

    def before(self, step_id: str) -> Step | None:
        """Return the nearest step before ``step_id`` that has an outcome."""
        found = None
        for step in self.card.step:
            if step.id == step_id:
                return found
            if self.outcome(step.id):
                found = step
        return found
