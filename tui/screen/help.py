"""The pages in place of the lower band: help, and the budget of the newest verdict."""

from collections.abc import Callable, Iterator
from math import isinf
from typing import Final

from textual.content import Content

from meterlink.events import Evidence
from meterlink.judging.assess import Assessment
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING
from meterlink.wording import EVIDENCE_WORDS, VERDICT_WORDS, component_words
from tui.announcing.forms import (
    DONE,
    FAULT,
    NOT_NEEDED,
    NOW,
    SKIPPED,
    TO_COME,
    VERDICT_FORMS,
)
from tui.screen.keys import KEYS, ON_SCREEN, KeyCommand
from tui.screen.view import View

_GESTURES = (
    "Lift the probes after a verdict: the card goes to the next step.",
    "Tap the tips together twice, quickly: do this step again.",
    "Tap, touch the part, tap: an over range in between counts as open.",
    "Hold the tips together at the lead zero: the leads are taken.",
)
_ANSWERS = (
    "While a question stands, what is typed goes to it; Enter takes what the line beneath says.",
    "A choice goes by its first letters, its number or the arrows; y or n where it is yes or no.",
    "Escape gives the keys back to the bench, and Enter goes back to the question.",
    "An open on your word takes its own key and its own answer: it is said, not measured.",
)
_MARKS = (
    (NOW, "now"),
    (DONE, "done, and good"),
    (FAULT, "done, and not good"),
    (SKIPPED, "skipped"),
    (TO_COME, "to come"),
    (NOT_NEEDED, "not needed so far"),
)


def help_page(key_of: Callable[[KeyCommand], str]) -> Content:
    """Return the page; ``key_of`` gives the key of a command."""
    return Content("\n").join(_lines(key_of))


def _lines(key_of: Callable[[KeyCommand], str]) -> Iterator[Content]:
    yield _head("What the probes can say")
    for line in _GESTURES:
        yield Content(f"  {line}")
    yield _head("Keys")
    for key in (*KEYS, *ON_SCREEN):
        yield Content.assemble((f"  {key_of(key):>8}  ", "bold"), key.does)
        if key.asked:
            yield Content.assemble(
                (f"  {key.asked:>8}  ", "bold"), "the same, also while a question stands"
            )
    yield Content.assemble(("    ctrl+p  ", "bold"), "every command by name")
    yield _head("Answers")
    for line in _ANSWERS:
        yield Content(f"  {line}")
    yield _head("Marks")
    for mark, means in _MARKS:
        yield Content(f"  {mark}  {means}")
    for verdict, form in VERDICT_FORMS.items():
        yield Content(f"  {form}  {VERDICT_WORDS[verdict]}")
    yield _head("Cautions")
    for line in STANDING:
        yield Content(f"  ▲ {line}")


def _head(words: str) -> Content:
    return Content(words).stylize("bold underline")


NOTHING_YET: Final = "Nothing is held yet: the budget belongs to a held value."


SAID: Final = "Said by the technician, not measured: there is no value, and so no budget."


def budget_page(view: View) -> Iterator[str]:
    """Yield how sure the newest verdict is, under the title of its step."""
    judged = view.newest
    if judged is None:
        yield NOTHING_YET
        return
    at = f" in “{judged.position}”" if judged.position else ""
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
