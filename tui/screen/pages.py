"""Pages that are read rather than worked: what the card came to, help, and how sure a value is.

All is folded from the view; the words are those of the report and of the plain table.
"""

from collections.abc import Callable, Iterator
from math import isinf
from typing import Final

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content

from meterlink.card import Step
from meterlink.events import Evidence, Judged
from meterlink.judging.assess import Assessment
from meterlink.profile import Profile
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING, ConfirmationStep, EntryStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.step import StepResult
from meterlink.steps.switch import SwitchStep
from meterlink.wording import (
    EVIDENCE_WORDS,
    METER_FAILED,
    SAID_WORDS,
    VERDICT_WORDS,
    component_words,
    entered_words,
    sure_in_short,
    window_words,
)
from tui.announcing.forms import (
    DONE,
    FAULT,
    NOT_NEEDED,
    NOW,
    SKIPPED,
    TO_COME,
    VERDICT_FORMS,
    Tone,
    tone_of_outcome,
    tone_of_verdict,
)
from tui.announcing.teller import finding_of
from tui.screen.figures import Sentences
from tui.screen.keys import KEYS, ON_SCREEN, KeyCommand
from tui.screen.view import View

UNSURE: Final = "?"
_LONGEST: Final = 600
_ONWARD: Final = (
    "next best check",
    "worth repeating",
    "both tell as much",
    "no check that is left",
)
"""What a sentence of the finding says that is about what to do next."""
_FOUND: Final = 3
"""So many sentences say what is found; what speaks for it comes last on the page."""


class SummaryView(VerticalScroll):
    """The page, made once for each end of the card; the arrows move it."""

    def __init__(self, where: str) -> None:
        """``where``: the folder that all is kept in; empty where nothing is kept."""
        super().__init__(id="summary")
        self._where = where
        self._shown: object = None
        self._lines = Sentences("summary-lines")

    def compose(self) -> ComposeResult:
        yield self._lines

    def show(self, view: View) -> None:
        """Show what the card that ended came to."""
        state = [(id(result), result.outcome) for result in view.progress.results.values()]
        if state != self._shown:
            self._shown = state
            self._lines.say(summary(view, self._where))
            self.scroll_home(animate=False)

    def forget(self) -> None:
        """Be made again the next time that a card ends."""
        self._shown = None


def summary(view: View, where: str = "") -> Iterator[Content]:
    """Yield the lines of the page; ``where`` all is kept, empty where it is not."""
    failed = [step for step in view.steps if _tone(step, view) is Tone.BAD]
    unsure = [step for step in view.steps if _tone(step, view) is Tone.UNSURE]
    undone = [step for step in view.steps if _undone(step, view)]
    yield _headline(view, failed, unsure, undone)
    if where:
        yield Content(f"kept in {plain(where, _LONGEST)}").stylize("$quiet")
    if view.progress.meter_failed:
        yield _line("!", METER_FAILED, Tone.BAD)
    yield from _block("Did not pass", FAULT, failed, view)
    yield from _block("Not sure", UNSURE, unsure, view)
    found, onward, why = _finding(view)
    fault = bool(failed or unsure or view.progress.meter_failed)
    if not fault:  # what is not done comes before what the rest may mean
        yield from _still_to_do(view, undone)
    yield from _words("What it means", found)
    yield from _words("What to do next", onward)
    if fault:
        yield from _still_to_do(view, undone)
    yield from _words("Why", why)
    if view.left_out:
        yield Content(f"- {view.left_out}").stylize("$quiet")


def _headline(view: View, failed: list[Step], unsure: list[Step], undone: list[Step]) -> Content:
    signed, signs = view.progress.signed_off, _signer(view) is not None
    if failed or view.progress.meter_failed:
        words, tone = f"{FAULT} NOT PASSED", Tone.BAD
    elif undone or (signs and not signed):
        words, tone = f"{TO_COME} NOT FINISHED", Tone.UNSURE
    elif unsure:
        words, tone = f"{UNSURE} NOT SURE", Tone.UNSURE
    else:
        words, tone = f"{DONE} PASSED", Tone.GOOD
    if signs:
        words += ", signed off" if signed else ", not signed off"
    done = sum(bool(view.progress.outcome(step.id)) for step in view.steps) - len(undone)
    count = f"  {max(0, done)} of {len(view.steps)} steps done"
    return Content.assemble((f" {words} ", f"bold reverse ${tone.value}"), (count, "$quiet"))


def _block(title: str, mark: str, steps: list[Step], view: View) -> Iterator[Content]:
    if not steps:
        return
    yield _head(title)
    tone = Tone.BAD if mark == FAULT else Tone.UNSURE
    for step in steps:
        for said in _said(step, view.progress.results[step.id], view.profile):
            yield _line(mark, said, tone)


def _finding(view: View) -> tuple[list[str], list[str], list[str]]:
    """Return the finding's sentences: what is found, what to do next, and all the rest."""
    sentences = [plain(sentence, _LONGEST) for sentence in finding_of(view.progress, view.profile)]
    onward = next(
        (at for at, said in enumerate(sentences) if any(w in said.lower() for w in _ONWARD)),
        max(0, len(sentences) - 1),
    )
    found, ahead = sentences[:onward], sentences[onward:]
    # What each result of that check would mean is for whoever asks why.
    ifs = (at for at, sentence in enumerate(ahead) if at and sentence.startswith("If "))
    then = next(ifs, len(ahead))
    return found[:_FOUND], ahead[:then], [*ahead[then:], *found[_FOUND:]]


def _still_to_do(view: View, undone: list[Step]) -> Iterator[Content]:
    """Yield what the job lacks, with what a signature still waits for."""
    signer = _signer(view)
    open_sign = signer is not None and not view.progress.signed_off
    lines = []
    for step in undone:
        result = view.progress.results[step.id]
        if step is signer:
            continue
        why = f" ({plain(result.reason, 60)})" if result.reason else ""
        word = "skipped" if result.outcome else "not done"
        lines.append(f"{SKIPPED if result.outcome else TO_COME} {plain(step.title)}: {word}{why}")
    if open_sign and signer is not None:
        for need in signer.requires:
            step = view.progress.card.find(need.step)
            if not view.progress.holds((need,)) and step not in undone:
                said = step.outcome_words(view.progress.outcome(step.id))
                wanted = " or ".join(step.outcome_words(was) for was in need.was)
                lines.append(f"{FAULT} {plain(step.title)}: {plain(said)}, must be {plain(wanted)}")
        lines.append(f"{TO_COME} {plain(signer.title)}: not signed")
    yield from _words("Still to do before sign-off" if signer is not None else "Still to do", lines)


def _signer(view: View) -> ConfirmationStep | None:
    """Return the step that signs the card off; None where it has none."""
    signers = (s for s in view.steps if isinstance(s, ConfirmationStep) and s.signs_off)
    return next(signers, None)


def _undone(step: Step, view: View) -> bool:
    outcome = view.progress.outcome(step.id)
    return outcome == "skipped" or (not outcome and view.progress.applies(step))


def _tone(step: Step, view: View) -> Tone:
    """Return how good it is what ``step`` came to; unsure where a verdict is close or said."""
    result = view.progress.results[step.id]
    if result.outcome in ("", "skipped"):
        return Tone.NONE
    tone = tone_of_outcome(step, result.outcome, view.profile)
    if tone is Tone.GOOD:
        tones = [tone_of_verdict(step, judged, view.profile) for judged in result.judged.values()]
        return Tone.UNSURE if Tone.UNSURE in tones else tone
    return tone


def _said(step: Step, result: StepResult, profile: Profile) -> Iterator[str]:
    """Yield what a step said: value, limits and how sure, a line for each position of a switch."""
    title = plain(step.title)
    word = plain(step.outcome_words(result.outcome), 60)
    if isinstance(step, SwitchStep):
        yield f"{title}: {word}{f', {SAID_WORDS}' if result.said else ''}"
        for position, judged in result.judged.items():
            yield f"  in “{plain(position)}”: {_verdict(step, judged, profile)}"
        return
    judged_once = result.judged.get("")
    if isinstance(step, MeasurementStep) and judged_once is not None:
        yield f"{title}: {_verdict(step, judged_once, profile)}"
        return
    value = [word]
    if own := result.own.in_short(ohm_sign=True):
        value.append(own)
    elif isinstance(step, EntryStep) and step.takes != "choice" and result.entered is not None:
        value.insert(0, plain(entered_words(result.entered), 40))
    limits = _size_limits(step, profile)
    yield f"{title}: {', '.join(value)}{f'; limits {limits}' if limits else ''}"


def _verdict(step: Step, judged: Judged, profile: Profile) -> str:
    words = VERDICT_WORDS[judged.verdict]
    if judged.corrected is not None:
        shown = (
            format_with_u(judged.corrected, judged.u, judged.unit)
            if judged.u
            else format_value(judged.corrected, judged.unit)
        )
        words = f"{shown}, {words}"
    criterion = step.criterion(profile, judged.position)
    limits = "" if criterion is None else f"; limits {window_words(criterion, ohm_sign=True)}"
    return f"{words} ({sure_in_short(judged)}){limits}"


def _size_limits(step: Step, profile: Profile) -> str:
    """Return what a gap or torque may be; empty where the step is neither."""
    part = step.limits(profile) if isinstance(step, EntryStep) else None
    if part is None:
        return ""
    return f"{format_value(part.low, part.unit)} to {format_value(part.high, part.unit)}"


def _words(title: str, lines: list[str]) -> Iterator[Content]:
    if lines:
        yield _head(title)
        yield from map(Content, lines)


def _head(words: str) -> Content:
    return Content(words).stylize("bold underline")


def _line(mark: str, words: str, tone: Tone) -> Content:
    return Content.assemble((f"{mark} ", f"bold ${tone.value}"), (words, "bold"))


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
