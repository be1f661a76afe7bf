"""The work card, the instruction of this moment, and the step that ended last."""

from typing import Final

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from meterlink.card import Step
from meterlink.events import Judged, StepEnded
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.steps.entry import ConfirmationStep
from meterlink.steps.step import StepResult
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import WatchStep
from meterlink.wording import SAID_WORDS
from tui.announcing.forms import (
    DONE,
    FAULT,
    NOT_NEEDED,
    NOW,
    SKIPPED,
    TO_COME,
    Phase,
    Tone,
    tone_of_outcome,
)
from tui.announcing.signs import wrapped
from tui.screen.figures import Sentences
from tui.screen.view import View

_SHORT_WORDS: Final = {
    "in-window": "in window",
    "below": "below",
    "above": "above",
    "acknowledged": "read",
    "cannot-tell": "cannot tell",
}


class StepsView(VerticalScroll, can_focus=False):
    """One line a step; the current one is kept in sight."""

    def __init__(self) -> None:
        super().__init__(id="steps")
        self._lines: tuple[Content, ...] = ()
        self._view: View | None = None
        self._text = Static(id="step-lines")

    def compose(self) -> ComposeResult:
        yield self._text

    def on_resize(self) -> None:
        """Lines are made for a width: make them again."""
        if self._view is not None:
            self.show(self._view)

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        self._view = view
        columns = self.scrollable_content_region.width
        if columns <= 0:
            return
        lines = tuple(line_of(step, view, columns) for step in view.steps)
        if view.left_out:
            short = wrapped(f"- {view.left_out}", columns + 1).splitlines()
            lines += tuple(Content(line).stylize("$quiet") for line in short)
        if lines == self._lines:
            return
        grown = len(lines) != len(self._lines)
        self._lines = lines
        self._text.update(Content("\n").join(lines), layout=grown)
        at = [step.id for step in view.steps]
        if view.progress.current in at:
            row = at.index(view.progress.current)
            self.scroll_to(
                y=max(0, row - self.scrollable_content_region.height // 2), animate=False
            )


def line_of(step: Step, view: View, columns: int) -> Content:
    """Return the line of one step, ``columns`` wide at most: mark, title, result."""
    result = view.progress.results[step.id]
    tone = tone_of_outcome(step, result.outcome, view.profile)
    current = step.id == view.progress.current
    mark = _mark(step, result, view, tone)
    said = said_by(step, result)
    room = columns - 2 - (len(said) + 1 if said else 0)
    title = plain(step.title)
    title = title if len(title) <= room else f"{title[: max(1, room - 1)]}…"
    style = f"${tone.value}" if tone is not Tone.NONE else ""
    line = Content.assemble(
        (f"{mark} ", f"bold {style}".strip()),
        (title.ljust(max(0, room)), "bold" if current else ""),
        (f" {said}" if said else "", style),
    )
    return line.stylize("reverse") if current else line


def _mark(step: Step, result: StepResult, view: View, tone: Tone) -> str:
    if step.id == view.progress.current:
        return NOW
    if result.outcome == "skipped":
        return SKIPPED
    if result.outcome:
        return FAULT if tone is Tone.BAD else DONE
    return TO_COME if view.progress.applies(step) else NOT_NEEDED


def said_by(step: Step, result: StepResult) -> str:
    """Return in a word or a value what a step said; empty while it said nothing."""
    if result.said and result.outcome != "skipped":
        return f"said {step.outcome_words(result.outcome) or 'open'}"
    verdict = _only_verdict(result)
    word = _SHORT_WORDS.get(result.outcome) or step.outcome_words(result.outcome)
    if verdict is not None:
        word = _SHORT_WORDS.get(verdict.verdict.value, verdict.verdict.value)
        if verdict.corrected is not None:
            digit = max(verdict.resolution, (verdict.u or 0.0) / 2) or None
            shown = format_value(verdict.corrected, verdict.unit, digit)
            return f"{shown} {word}" if word != "in window" else shown
        return word
    if result.zeroed is not None:
        return format_value(result.zeroed.value, "ohm", result.zeroed.resolution or None)
    if result.entered is not None and result.outcome in {"done", "in-window", "below", "above"}:
        return plain(result.entered.text, 16)
    return plain(word, 20)


def _only_verdict(result: StepResult) -> Judged | None:
    return result.judged.get("") if result.outcome != "skipped" else None


LIFT = "Lift the probes."
STILL = "Keep still: the value is settling."


class AskedView(Sentences):
    """The instruction of this moment, in the plainest words there are."""

    def __init__(self) -> None:
        super().__init__("asked")
        self.said = ""
        """The instruction that is shown."""

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        say = what_to_do(view)
        if say != self.said:
            self.said = say
            self.say([Content.assemble(("▶ ", "bold $accent"), (say, "bold"))])


def what_to_do(view: View) -> str:
    """Return the one thing to do now; a question that waits is never hidden behind another."""
    if view.progress.ended:
        signers = [s for s in view.steps if isinstance(s, ConfirmationStep) and s.signs_off]
        signed = "" if not signers else ", signed off"
        if signers and not view.progress.signed_off:
            signed = ", not signed off"
        back = "; b goes back one step" if view.back else ""
        return f"The card is done{signed}. Press q to leave{back}."
    if not view.progress.began:
        return "Waiting for the meter."
    asked = "" if view.asked is None else plain(view.asked.say, 600)
    hands = _hands(view)
    if asked and view.waits:
        return asked if hands != LIFT else f"{asked} {LIFT}"
    return hands or asked


def _hands(view: View) -> str:
    """Return what the probes are to do now; empty where they need no word."""
    if view.phase is Phase.LIFT and (view.asked is None or not isinstance(view.step, SwitchStep)):
        return LIFT
    if view.phase is Phase.SETTLING and not isinstance(view.step, WatchStep):
        return STILL
    return ""


class EndedView(Static):
    """The step that ended last; a moment's veto is one key away."""

    def __init__(self) -> None:
        super().__init__(id="ended", markup=False)
        self._shown: tuple[StepEnded | None, str] = (None, "")

    def show(self, view: View, back: str = "b") -> None:
        """Show where ``view`` stands; ``back`` is the key that takes a step back now."""
        ended = view.ended
        if (ended, back) != self._shown:
            self._shown = ended, back
            line = Content("") if ended is None else ended_line(ended, view, back)
            self.update(line, layout=False)


def ended_line(ended: StepEnded, view: View, back: str) -> Content:
    """Return the line about ``ended``."""
    step = view.progress.card.find(ended.step)
    tone = tone_of_outcome(step, ended.outcome, view.profile)
    word = step.outcome_words(ended.outcome)
    said = said_by(step, view.progress.results[step.id])
    value = "" if said in {"", word} or said.startswith(word) else f" {said}"
    if view.progress.results[step.id].said and ended.outcome != "skipped":
        tone, value = Tone.UNSURE, f", {SAID_WORDS}"
    style = "" if tone is Tone.NONE else f"${tone.value}"
    return Content.assemble(
        (f"  {plain(step.title)}: ", ""),
        (f"{plain(word, 40)}{value}", f"bold {style}".strip()),
        (f"   {back} takes it back", "$quiet"),
    )
