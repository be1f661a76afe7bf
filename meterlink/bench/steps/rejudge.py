"""A lead zero or a temperature was corrected: what rests on it is judged again.

The held values stand; only what is taken off them changes. The new verdicts are new events, the
old ones stay in the log.
"""

from collections.abc import Iterator
from typing import Final

from msgspec import structs

from meterlink.bench.progress import Progress, StepResult
from meterlink.bench.steps.assessors import MeasurementContext, criterion_for
from meterlink.bench.steps.judged import judged
from meterlink.card.card import MeasurementStep
from meterlink.card.profile import Profile
from meterlink.card.profile_parts import find_part, lacking
from meterlink.events import BenchEvent, Evidence, MeterSet, StepEnded
from meterlink.source import Accuracy, Setting

AGAIN: Final = "Judged again: what is taken off the value was corrected."


def judge_again(
    progress: Progress, profile: Profile, accuracy: tuple[Accuracy, ...], t: float
) -> Iterator[BenchEvent]:
    """Yield a new verdict for every measurement that a correction gave another value."""
    for step in progress.card.step:
        result = progress.results[step.id]
        made = result.corrected_by and progress.outcome(result.corrected_by)
        if isinstance(step, MeasurementStep) and made and not lacking(step, profile):
            yield from _again(step, result, progress, profile, accuracy, t)


def _again(
    step: MeasurementStep,
    result: StepResult,
    progress: Progress,
    profile: Profile,
    accuracy: tuple[Accuracy, ...],
    t: float,
) -> Iterator[BenchEvent]:
    basis, before = result.basis, result.judged.get("")
    if basis is None or before is None or result.outcome != before.verdict.value:
        return
    bearings = MeasurementContext(accuracy, progress, _setting(basis.setting), profile)
    part = find_part(step, profile)
    assessment = bearings.assessor(criterion_for(part), part.name).assess(basis.held)
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


def _setting(told: MeterSet | None) -> Setting:
    if told is None:
        return Setting()
    return Setting(range=told.range, four_wire=told.four_wire, resolution=told.resolution)
