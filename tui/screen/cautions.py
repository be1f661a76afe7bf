"""The cautions, over the whole width, until they are acknowledged."""

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from meterlink.card import CautionStep
from meterlink.cautions import STANDING
from meterlink.text import plain


class CautionsView(VerticalScroll):
    """Every caution as a point of its own."""

    def compose(self) -> ComposeResult:
        yield Static(id="caution-lines")

    def show(self, step: CautionStep) -> None:
        """Show the standing cautions and those of ``step``."""
        lines = [*STANDING, *(plain(line, 600) for line in step.lines)]
        points = [Content.assemble(("▲ ", "bold $unsure"), line) for line in lines]
        if not self.has_focus:
            self.focus()  # a small terminal needs the arrows to show them all
        gap = "\n\n" if self.container_size.height >= 2 * len(points) + len(points) else "\n"
        self.query_one("#caution-lines", Static).update(Content(gap).join(points))
