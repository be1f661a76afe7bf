"""How sure the newest value is, and what that rests on."""

from collections.abc import Iterator
from math import isinf
from typing import Final

from meterlink.events import Evidence
from meterlink.judging.assess import Assessment
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.wording import EVIDENCE_WORDS, VERDICT_WORDS, component_words
from tui.screen.view import View

NOTHING_YET: Final = "Nothing is held yet: the budget belongs to a held value."


SAID: Final = "Said by the technician, not measured: there is no value, and so no budget."


def budget_page(view: View) -> Iterator[str]:
    """Yield how sure the newest verdict is, under the title of its step."""
    judged = view.newest
    if judged is None:
        yield NOTHING_YET
        return
    at = f" in «{judged.position}»" if judged.position else ""
    title = plain(view.progress.card.find(judged.step).title)
    yield f"{title}{plain(at)}: {VERDICT_WORDS[judged.verdict]}"
    if judged.evidence is Evidence.SAID:
        yield SAID
    elif view.assessment is not None:
        yield from budget_lines(view.assessment, view.assessed_unit)
    else:
        how = "" if judged.evidence is None else f": {EVIDENCE_WORDS[judged.evidence]}"
        yield f"It rests on no held value{how}."


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
        name = component_words(component)
        bar = "█" * round(12 * share)
        yield f"  {name:<36} {format_value(component.u, unit):>10} {free:>7} {share:>5.0%} {bar}"
    for verdict, probability in judgement.probabilities.items():
        yield f"  {VERDICT_WORDS[verdict]:<36} {probability:>10.1%}"
    if judgement.advice:
        yield judgement.advice
    yield from assessment.notes
