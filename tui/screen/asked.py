"""What to do next, and what just ended and can still be taken back."""

from textual.content import Content
from textual.widgets import Static

from meterlink.events import StepEnded
from meterlink.quantities.text import plain
from meterlink.steps.entry import ConfirmationStep
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import WatchStep
from meterlink.wording import SAID_WORDS
from tui.announcing.forms import Phase, Tone
from tui.announcing.news import tone_of_outcome
from tui.screen.steps import said_by
from tui.screen.view import View

LIFT = "Lift the probes."
STILL = "Keep still: the value is settling."


class AskedView(Static):
    """The instruction of this moment, in the plainest words there are."""

    said = ""
    """The instruction that is shown."""

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        say = what_to_do(view)
        if say != self.said:
            self.said = say
            self.update(Content.assemble(("▶ ", "bold $accent"), (say, "bold")), layout=False)


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

    _shown: tuple[StepEnded | None, str] = (None, "")

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
