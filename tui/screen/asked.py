"""What to do next, and what just ended and can still be taken back."""

from textual.content import Content
from textual.widgets import Static

from meterlink.card.card import SwitchStep, WatchStep
from meterlink.events import StepEnded
from meterlink.quantities.text import plain
from meterlink.wording import outcome_words
from tui.announcing.forms import Phase, Tone
from tui.announcing.news import tone_of_outcome
from tui.screen.steps import said_by
from tui.screen.view import View

LIFT = "Lift the probes."


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
    """Return the one thing to do now."""
    if view.progress.ended:
        signed = "signed off" if view.progress.signed_off else "not signed off"
        back = "; b goes back one step" if view.back else ""
        return f"The card is done, {signed}. Press q to leave{back}."
    if not view.progress.began:
        return "Waiting for the meter."
    asked = view.asked
    if view.phase is Phase.LIFT and (asked is None or not isinstance(view.step, SwitchStep)):
        return LIFT
    if view.phase is Phase.SETTLING and not isinstance(view.step, WatchStep):
        return "Keep still: the value is settling."
    return "" if asked is None else plain(asked.say, 600)


class EndedView(Static):
    """The step that ended last; a moment's veto is one key away."""

    _shown: StepEnded | None = None

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        ended = view.ended
        if ended is not self._shown:
            self._shown = ended
            line = Content("") if ended is None else ended_line(ended, view)
            self.update(line, layout=False)


def ended_line(ended: StepEnded, view: View) -> Content:
    """Return the line about ``ended``."""
    step = view.progress.card.find(ended.step)
    tone = tone_of_outcome(step, ended.outcome, view.profile)
    word = outcome_words(step, ended.outcome)
    said = said_by(step, view.progress.results[step.id])
    value = "" if said in {"", word} or said.startswith(word) else f" {said}"
    style = "" if tone is Tone.NONE else f"${tone.value}"
    return Content.assemble(
        (f"  {plain(step.title)}: ", ""),
        (f"{plain(word, 40)}{value}", f"bold {style}".strip()),
        ("   b takes it back", "$quiet"),
    )
