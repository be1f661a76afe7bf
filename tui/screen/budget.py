"""How sure the newest value is, and what that rests on."""

from collections.abc import Iterator
from math import isinf

from meterlink.judging.assess import Assessment
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.wording import COMPONENT_WORDS, VERDICT_WORDS

NOTHING_YET = "Nothing is held yet: the budget belongs to a held value."


def budget_lines(assessment: Assessment, unit: str) -> Iterator[str]:
    """Yield the budget of ``assessment`` as lines: result, components, what was assumed."""
    budget, judgement = assessment.budget, assessment.judgement
    if assessment.corrected is not None:
        shown = format_with_u(assessment.corrected, assessment.expanded, unit)
        yield f"{shown}, 95 %, coverage factor {budget.k:.2f}"
    total = budget.u
    for component in sorted(budget.components, key=lambda line: -line.u):
        share = (component.u / total) ** 2 if total else 0.0
        known = component.dof is None or isinf(component.dof)
        free = "" if known else f"{component.dof:.0f} df"
        name = COMPONENT_WORDS.get(component.name, component.name)
        bar = "█" * round(20 * share)
        yield f"  {name:<24} {format_value(component.u, unit):>10} {free:>7} {share:>5.0%} {bar}"
    for verdict, probability in judgement.probabilities.items():
        yield f"  {VERDICT_WORDS[verdict]:<24} {probability:>10.1%}"
    if judgement.advice:
        yield judgement.advice
    yield from assessment.notes
