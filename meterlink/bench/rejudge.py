"""A lead zero or a temperature was corrected: what rests on it is judged again.

The held values stand; only what is taken off them changes. The new verdicts are new events, the
old ones stay in the log.
"""

from collections.abc import Iterator
from typing import Final

from msgspec import structs

from meterlink.bench.progress import Progress
from meterlink.events import CommonEvent, Evidence, StepEnded
from meterlink.profile import Profile
from meterlink.source import Accuracy
from meterlink.steps.held import judged
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.step import StepResult
from meterlink.steps.worker import setting_of

AGAIN: Final = "Judged again: what is taken off the value was corrected."


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
    assessment = progress.context(accuracy, setting).assessor(criterion).assess(basis.held)
    if assessment.corrected == before.corrected:
        return
    verdict = judged(step.id, basis.held, assessment)
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
