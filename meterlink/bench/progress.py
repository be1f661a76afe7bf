"""Where a job stands: a fold over its events, live and after a restart alike."""

from collections.abc import Iterable, Iterator
from typing import Final

from msgspec import structs

from meterlink.card import BY_PROFILE, Card, Step, lacking, left_out, was_left_out
from meterlink.events import (
    CardBegan,
    CardEnded,
    CommonEvent,
    Entered,
    Event,
    Evidence,
    Held,
    Judged,
    MeterSet,
    StepBegan,
    StepEnded,
    StepEvent,
    StepReopened,
    Zeroed,
)
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.correction import Temperature
from meterlink.judging.criterion import Rule
from meterlink.meter_state import setting_of
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.source import Setting
from meterlink.steps.entry import ConfirmationStep
from meterlink.steps.held import judged
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.meter_check import FAILED, MeterCheckStep
from meterlink.steps.repair import RepairState, RepairStep
from meterlink.steps.step import CANNOT_TELL, SKIPPED, Basis, StepCondition, StepResult
from meterlink.steps.worker import MeasurementContext, lead_zero_of

AGAIN: Final = "Judged again: what is taken off the value was corrected."


class Progress:
    """The state of a card on the bench, folded from events by ``apply`` and nothing else."""

    def __init__(self, card: Card) -> None:
        self.card = card
        self.results: dict[str, StepResult] = {
            step.id: StepResult(own=step.state()) for step in card.step
        }
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
            isinstance(step, MeterCheckStep) and self.outcome(step.id) == FAILED
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
                result.evidence = event.evidence
                result.mended = self.mended
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
            case StepEvent():
                result.own.apply(event)

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
        self.results[step] = StepResult(own=self.card.find(step).state())
        if warmth or old.zeroed is not None:
            for result in self.results.values():
                result.corrected_by = step if result.basis is not None else ""
        self.ended = self.signed_off = False

    def _forget_corrections(self, but: str) -> None:
        """What a correction made necessary is done before the next step begins."""
        for result in self.results.values():
            if result.corrected_by not in ("", but) and self.outcome(result.corrected_by):
                result.corrected_by = ""

    @property
    def mended(self) -> tuple[str, ...]:
        """The places that have been put right, in their order."""
        return tuple(
            place
            for step in self.card.step
            if isinstance(step, RepairStep)
            for place in self.results[step.id].own.of(RepairState).places
        )

    @property
    def left_out(self) -> tuple[Step, ...]:
        """The steps that were passed over as the engine has no such part."""
        return tuple(step for step in self.card.step if was_left_out(self.results[step.id]))

    def context(
        self, accuracy: tuple[Accuracy, ...], setting: Setting | None, profile: Profile | None
    ) -> MeasurementContext:
        """Return what bears on every value, as things stand; ``setting``: of the meter."""
        context = MeasurementContext(
            accuracy,
            lead_zero_of(self.lead_zero),
            None if self.temperature is None else Temperature(celsius=self.temperature),
            Setting() if setting is None else setting,
        )
        if profile is None:
            return context
        return structs.replace(
            context,
            assumed=profile.assumed,
            rule=profile.rule or Rule.SIMPLE,
            windings=profile.winding,
        )

    @property
    def is_signed(self) -> bool:
        """Whether the card is signed off, with all that the signature needs."""
        return any(
            self.outcome(step.id) == "yes" and self.holds(step.requires) for step in self.signatures
        )

    @property
    def signatures(self) -> Iterator[ConfirmationStep]:
        """The steps of the card that sign it off."""
        for step in self.card.step:
            if isinstance(step, ConfirmationStep) and step.signs_off:
                yield step

    def why_not_again(self, step: str, profile: Profile) -> str:
        """Return why ``step`` cannot be done again; empty where it can."""
        if step not in self.results:
            there = ", ".join(self.results)
            return f"There is no step “{plain(step)}” on this card; there are: {there}."
        if step != self.current and not self.outcome(step):
            return f"“{self.title(step)}” has not been done yet, so it cannot be done again."
        why = lacking(self.card.find(step), profile)
        return f"That cannot be done: {why}." if why else ""

    def step_before(self, profile: Profile) -> Step | None:
        """Return the nearest step with an outcome of its own that can be done with ``profile``.

        One that ends by itself, as resistance cannot tell, would only lead forward again.
        """
        before = None
        for step in self.card.step:
            if step.id == self.current:
                break
            own = self.outcome(step.id) not in ("", CANNOT_TELL)
            if own and not lacking(step, profile):
                before = step
        return before

    def title(self, step: str) -> str:
        """Return the title of a step."""
        return self.card.find(step).title

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


def pass_over(progress: Progress, profile: Profile, t: float) -> Iterator[CommonEvent]:
    """Yield the end of every step whose part an engine of ``profile`` lacks, with the reason."""
    for step in left_out(progress.card, profile):
        if not progress.outcome(step.id):
            why = lacking(step, profile)
            yield StepEnded(t=t, step=step.id, outcome=SKIPPED, reason=why, how=BY_PROFILE)


def withdraw_sign_off(progress: Progress, step: str, t: float) -> Iterator[CommonEvent]:
    """Yield that every signature is withdrawn, as ``step`` is done again.

    A signature holds for the card as it was.
    """
    for signed in progress.signatures:
        if signed.id != step and progress.outcome(signed.id) == "yes":
            reason = f"“{progress.title(step)}” is done again"
            yield StepReopened(t=t, step=signed.id, reason=reason)


def judge_again(
    progress: Progress, profile: Profile, accuracy: tuple[Accuracy, ...], t: float
) -> Iterator[CommonEvent]:
    """Yield a new verdict for every measurement that a correction gave another value."""
    for step in progress.card.step:
        result = progress.results[step.id]
        made = result.corrected_by and progress.outcome(result.corrected_by)
        if isinstance(step, MeasurementStep) and made:
            yield from _again(step, result, progress, profile, accuracy, t)


def _again(
    step: MeasurementStep,
    result: StepResult,
    progress: Progress,
    profile: Profile,
    accuracy: tuple[Accuracy, ...],
    t: float,
) -> Iterator[CommonEvent]:
    basis, before = result.basis, result.judged.get("")
    if basis is None or before is None or result.outcome != before.verdict.value:
        return
    criterion = step.criterion(profile)
    if criterion is None:
        return
    setting = setting_of(basis.setting)
    context = progress.context(accuracy, setting, profile)
    assessment = context.assessor(criterion, step.part(profile).name).assess(basis.held)
    if assessment.corrected == before.corrected:
        return
    verdict = judged(step.id, basis.held, assessment)
    good = assessment.judgement.passes
    # The touches were what they were; a value that now is good needs no second one.
    verdict = structs.replace(verdict, repeat="" if good else before.repeat)
    yield structs.replace(verdict, t=t, notes=(*verdict.notes, AGAIN))
    if result.outcome != verdict.verdict.value:
        yield StepEnded(
            t=t,
            step=step.id,
            outcome=verdict.verdict.value,
            reason=AGAIN.rstrip("."),
            how=result.how,
            who=result.who,
            evidence=verdict.evidence if verdict.evidence is Evidence.SAID else None,
        )
