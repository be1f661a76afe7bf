"""From a held value, or an over range with evidence of contact, to the verdict in the log."""

from typing import Final

from meterlink.events import Evidence, Held, Judged, Verdict
from meterlink.judging.assess import Assessment, Assessor
from meterlink.judging.verdict import CLEAR
from meterlink.quantities.notation import format_value

TRUST: Final = {Evidence.SAME_TOUCH: 0.999, Evidence.TAPPED: 0.99, Evidence.SAID: 0.97}
"""Probability that the probes did touch, by the evidence for it: judgement of the authors."""


def judged(
    step: str,
    held: Held,
    assessment: Assessment,
    *,
    position: str = "",
    evidence: Evidence | None = None,
) -> Judged:
    """Return the verdict event of a held value."""
    judgement = assessment.judgement
    if evidence is None and judgement.verdict is Verdict.OPEN:
        evidence = Evidence.READ
    return Judged(
        t=held.t,
        step=step,
        contact_t=held.contact_t,
        value=held.value,
        unit=held.unit,
        readings=held.readings,
        noise=held.noise,
        resolution=held.resolution,
        corrected=assessment.corrected,
        u=assessment.expanded,
        verdict=judgement.verdict,
        probability=judgement.probability,
        clear=judgement.clear,
        position=position,
        evidence=evidence,
        advice=judgement.advice,
        budget=assessment.budget.components,
        probabilities=_by_code(judgement.probabilities),
        notes=assessment.notes,
    )


def cannot_be(held: Held, assessment: Assessment) -> str:
    """Return what to do about a value that no resistance has; empty where it can be."""
    if not assessment.judgement.impossible:
        return ""
    shown = format_value(held.value, held.unit, held.resolution or None)
    return f"{shown} was read, and nothing is judged by it. {assessment.judgement.advice}"


def judged_over_range(
    step: str,
    t: float,
    contact_t: float,
    evidence: Evidence,
    assessor: Assessor,
    *,
    position: str = "",
) -> Judged:
    """Return the verdict event of an over range while the probes touched, as ``evidence`` says."""
    assessment = assessor.assess_over_range()
    judgement = assessment.judgement
    probability = judgement.probability * TRUST[evidence]
    return Judged(
        t=t,
        step=step,
        contact_t=contact_t,
        value=None,
        verdict=judgement.verdict,
        probability=probability,
        clear=probability >= CLEAR,
        position=position,
        evidence=evidence,
        advice=judgement.advice,
        probabilities=_by_code(judgement.probabilities),
        notes=assessment.notes,
    )


def _by_code(probabilities: dict[Verdict, float]) -> dict[str, float]:
    return {verdict.value: probability for verdict, probability in probabilities.items()}
