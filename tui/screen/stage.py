"""Where the touch stands and what it means: two pictures with their words."""

from typing import Final

from textual.content import Content
from textual.widget import Widget

from meterlink.card import Step
from meterlink.events import Judged, Verdict
from tui.screen.forms import PHASE_FORMS, Phase, Tone
from tui.screen.news import tone_of_verdict
from tui.screen.view import View
from tui.telling import VERDICT_WORDS

_COLUMNS: Final = 13

_PICTURES: Final = {
    Verdict.SHORT: ("             ", "█━━━━━━━━━━━█", "█           █", "             "),
    Verdict.BELOW: ("    ┃   ┃    ", " █  ┃   ┃    ", "▀█▀ ┃   ┃    ", " ▀ ━┻━━━┻━━━ "),
    Verdict.IN_WINDOW: ("   ┃     ┃   ", "   ┃ ▄█▄ ┃   ", "   ┃ ▀█▀ ┃   ", " ━━┻━━━━━┻━━ "),
    Verdict.ABOVE: ("    ┃   ┃ ▄  ", "    ┃   ┃▄█▄ ", "    ┃   ┃ █  ", " ━━━┻━━━┻━   "),
    Verdict.OPEN: ("             ", "█━━━     ━━━█", "█           █", "             "),
}
"""A path joined; a mark left of, between and right of two posts; a path broken."""

_NOTHING: Final = (" " * _COLUMNS,) * 4


class StageView(Widget):
    """The stage of the touch on the left, its verdict on the right."""

    def __init__(self) -> None:
        super().__init__(id="stage")
        self.phase = Phase.OFF
        self.verdict_words = ""
        self._judged: Judged | None = None
        self._tone = Tone.NONE

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        judged = view.judged
        if view.phase is self.phase and judged is self._judged:
            return
        self.phase, self._judged = view.phase, judged
        self.verdict_words = "" if judged is None else VERDICT_WORDS[judged.verdict]
        self._tone = _tone(view, judged)
        for phase in Phase:
            self.set_class(phase is self.phase, f"-{phase.name.lower()}")
        self.refresh()

    def render(self) -> Content:
        """Return the pictures side by side with the words beneath."""
        judged = self._judged
        right = _NOTHING if judged is None else _PICTURES[judged.verdict]
        style = "" if self._tone is Tone.NONE else f"bold ${self._tone.value}"
        lines = [
            Content.assemble(left, "  ", (picture, style))
            for left, picture in zip(PHASE_FORMS[self.phase], right, strict=True)
        ]
        words = Content.assemble(
            (self.phase.value.center(_COLUMNS + 2), "bold"),
            (self.verdict_words.center(_COLUMNS), style),
        )
        sure = ""
        if judged is not None:
            sure = "clear" if judged.clear else f"close, {judged.probability:.0%} sure"
        lines += [words, Content((" " * (_COLUMNS + 2)) + sure.center(_COLUMNS))]
        return Content("\n").join(lines)


def _tone(view: View, judged: Judged | None) -> Tone:
    if judged is None:
        return Tone.NONE
    step: Step = view.progress.card.find(judged.step)
    return tone_of_verdict(step, judged, view.profile)
