"""Where the touch stands and what it means: two pictures with their words."""

from typing import Final

from textual.content import Content
from textual.widget import Widget

from meterlink.events import Judged
from meterlink.quantities.text import plain
from meterlink.wording import VERDICT_WORDS, sure_in_short
from tui.announcing.forms import PHASE_PICTURES, VERDICT_PICTURES, Phase, Tone, tone_of_verdict
from tui.screen.figures import paint, rows_of
from tui.screen.view import View

_PIXELS: Final = (13, 8)
_WORDS: Final = 2
"""Rows of words under the pictures."""


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
        self.refresh()

    def render(self) -> Content:
        """Return the pictures side by side with the words beneath."""
        columns, rows = (self.content_size.width - 1) // 2, self.content_size.height
        scale = 1
        while (scale + 1) * _PIXELS[0] <= columns and rows_of(
            _PIXELS[1], scale + 1
        ) + _WORDS <= rows:
            scale += 1
        left = [*paint(PHASE_PICTURES[self.phase], scale), self.phase.value]
        right: list[str] = []
        if self._judged is not None:
            judged = self._judged
            right = [
                *paint(VERDICT_PICTURES[judged.verdict], scale),
                self.verdict_words,
                _sure(judged),
            ]
        lift = "bold reverse" if self.phase is Phase.LIFT else "bold"
        news = "" if self._tone is Tone.NONE else f"bold reverse ${self._tone.value}"
        return Content("\n").join(
            Content.assemble((a, lift), " ", (b, news))
            for a, b in zip(
                _filled(left, columns, rows), _filled(right, columns, rows), strict=True
            )
        )


def _sure(judged: Judged) -> str:
    """Return how sure ``judged`` is, and of which position where a switch has been moved since."""
    at = f"«{plain(judged.position, 12)}» " if judged.position else ""
    return f"{at}{sure_in_short(judged)}"


def _filled(lines: list[str], columns: int, rows: int) -> list[str]:
    """Return ``lines`` in the middle of ``columns`` by ``rows`` of blanks."""
    above = max(0, (rows - len(lines)) // 2)
    lines = [""] * above + lines + [""] * rows
    return [line.center(columns)[:columns] for line in lines[:rows]]


def _tone(view: View, judged: Judged | None) -> Tone:
    if judged is None:
        return Tone.NONE
    return tone_of_verdict(view.progress.card.find(judged.step), judged, view.profile)
