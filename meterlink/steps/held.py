"""What the kinds of step make of a held or typed value: whether it can be, and its verdict."""

from meterlink.errors import NotationError
from meterlink.events import Evidence, Held, Judged, Verdict
from meterlink.judging.advice import why_implausible
from meterlink.judging.assess import PROVE_IT, TRUST, Assessment, Assessor
from meterlink.judging.criterion import Criterion, Kind
from meterlink.judging.verdict import CLEAR, RULES
from meterlink.quantities.notation import format_value, parse_as
from meterlink.quantities.text import plain
from meterlink.quantities.units import beyond_measure


def judged(
    step: str,
    held: Held,
    assessment: Assessment,
    *,
    position: str = "",
) -> Judged:
    """Return the verdict event of a held value; an open of one reading was typed, so is said."""
    judgement = assessment.judgement
    evidence, trust = None, 1.0
    if judgement.verdict is Verdict.OPEN:
        evidence = Evidence.READ if held.readings > 1 else Evidence.SAID
        trust = TRUST.get(evidence, 1.0)
    probability = judgement.probability * trust
    decided = judgement.decided
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
        probability=probability,
        clear=probability >= CLEAR,
        position=position,
        evidence=evidence,
        advice=judgement.advice or (PROVE_IT if evidence is Evidence.SAID else ""),
        budget=assessment.budget.components,
        probabilities=_by_code(judgement.probabilities, trust),
        notes=assessment.notes,
        interval=assessment.interval,
        rule=judgement.rule.value,
        decision=decided.decision.value,
        risk=decided.risk,
        rules=RULES,
    )


def cannot_be(held: Held, assessment: Assessment) -> str:
    """Return what to do about a value that no resistance has; empty where it can be."""
    if beyond_measure(held.value, held.unit):
        return why_implausible(held.value, held.unit)
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
    assessment = assessor.assess_over_range(evidence)
    judgement = assessment.judgement
    decided = judgement.decided
    return Judged(
        t=t,
        step=step,
        contact_t=contact_t,
        value=None,
        verdict=judgement.verdict,
        probability=judgement.probability,
        clear=judgement.clear,
        position=position,
        evidence=evidence,
        advice=judgement.advice,
        probabilities=_by_code(judgement.probabilities, 1.0),
        notes=assessment.notes,
        rule=judgement.rule.value,
        decision=decided.decision.value,
        risk=decided.risk,
        rules=RULES,
    )


def _by_code(probabilities: dict[Verdict, float], trust: float) -> dict[str, float]:
    """Return probabilities by code; what a mere statement leaves goes to no verdict."""
    return {verdict.value: trust * share for verdict, share in probabilities.items()}


def wrong_unit(held: Held) -> str:
    """Return what to turn the meter to, where it does not measure ohms; empty where it does."""
    if held.unit == "ohm":
        return ""
    return f"The meter reads {held.unit}; turn it to resistance (ohm). Nothing was judged."


def expected(criterion: Criterion) -> float | None:
    """Return the value that the meter's range should reach, ohms; None leaves it to the meter.

    For a winding it reaches what counts as open: on a shorter range, over range would only say
    “more than the range”, and an open could not be told from a winding that is merely high. A
    lead or an earth path is a fraction of an ohm, and open or high it fails alike: there the last
    digit matters more.
    """
    high = criterion.window.high
    if high is None:
        return None
    if criterion.kind is not Kind.WINDING or criterion.open_above is None:
        return high
    return criterion.open_above + criterion.series


def typed_hold(text: str, t: float) -> Held:
    """Return a typed resistance as a hold of one reading.

    Raises:
        NotationError: it is no resistance, or an over range, which is none.
    """
    value = parse_as(plain(text.strip()), "ohm")
    if value.overload:
        raise NotationError(f"“{plain(text)}” is no resistance; type such as “0.84 ohm” or “4k7”")
    return Held(
        t=t,
        contact_t=t,
        value=value.value,
        readings=1,
        noise=0.0,
        resolution=value.resolution or 0.0,
        u=0.0,
        dof=float("inf"),
    )
