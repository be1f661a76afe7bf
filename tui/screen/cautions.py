"""The cautions, over the whole width, until they are acknowledged."""

from typing import Final

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING, CautionStep

_ROWS_EACH: Final = 3
"""With so many rows for each, a blank one lies between them."""
_AROUND: Final = 9
"""Rows of the screen that are not theirs. Their own height is known only after the first layout,
and a text that changes between two layouts may be cut by the height of the first."""


class CautionsView(VerticalScroll):
    """Every caution as a point of its own."""

    def __init__(self) -> None:
        super().__init__(id="cautions")
        self._lines: tuple[str, ...] = ()
        self._left_out = ""

    def compose(self) -> ComposeResult:
        yield Static(id="caution-lines")

    def show(self, step: CautionStep, left_out: str = "") -> None:
        """Show the standing cautions and those of ``step``, and what is ``left_out``."""
        self._left_out = left_out
        lines = (*STANDING, *(plain(line, 600) for line in step.lines))
        if lines != self._lines:
            self._lines = lines
            self._lay_out()
        if self.screen.focused is None:
            self.focus()  # a small terminal needs the arrows to show them all

    def on_resize(self) -> None:
        """Space them for the room that there is."""
        self._lay_out()

    def _lay_out(self) -> None:
        points = [Content.assemble(("▲ ", "bold $unsure"), line) for line in self._lines]
        if self._left_out and points:
            points.append(Content(f"- {self._left_out}").stylize("$quiet"))
        room = self.app.size.height - _AROUND
        gap = "\n\n" if room >= _ROWS_EACH * len(points) else "\n"
        self.query_one("#caution-lines", Static).update(Content(gap).join(points))
