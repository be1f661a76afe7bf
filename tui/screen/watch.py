"""The watch: how often the path dropped out, and when, how long and how deep each time."""

from itertools import islice
from typing import Final

from textual.content import Content
from textual.widget import Widget

from meterlink.events import Dropout
from meterlink.notation import format_value
from tui.screen import figures
from tui.screen.view import View

_MOST_LINES: Final = 40


class WatchView(Widget):
    """The count in tall figures, the dropouts beneath, newest first."""

    def __init__(self) -> None:
        super().__init__(id="watch")
        self.count = 0
        self._dropouts: list[Dropout] = []

    def show(self, view: View) -> None:
        """Show the dropouts of ``view``."""
        if view.dropout_count != self.count:
            self.count = view.dropout_count
            self._dropouts = list(islice(reversed(view.dropouts), _MOST_LINES))
            self.refresh()

    def render(self) -> Content:
        """Return the count beside its word, then a line for each dropout that has room."""
        tall = figures.draw(str(self.count), 1)
        word = "dropout" if self.count == 1 else "dropouts"
        lines = [Content(row) for row in tall[:-1]]
        lines.append(Content.assemble((f"{tall[-1]}  {word}", "bold")))
        lines.append(Content("       at     for to").stylize("$quiet"))
        room = self.content_size.height - len(lines)
        lines += [Content(dropout_line(dropout)) for dropout in self._dropouts[: max(0, room)]]
        return Content("\n").join(lines)


def dropout_line(dropout: Dropout) -> str:
    """Return when a dropout was, how long it lasted and how far it went."""
    depth = "over range" if dropout.depth is None else format_value(dropout.depth)
    return f"{dropout.t:7.1f} s {dropout.lasted_s:5.2f} s {depth}"
