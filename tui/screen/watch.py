"""The watch: the time left, how often the path changed, and when, how long, how deep each time."""

from itertools import islice
from math import ceil
from typing import Final

from textual.content import Content
from textual.widget import Widget

from meterlink.card.card import WatchStep
from meterlink.events import Dropout
from meterlink.quantities.notation import format_value
from tui.screen import figures
from tui.screen.view import View

_MOST_LINES: Final = 40


class WatchView(Widget):
    """The count in tall figures, the time left, the dropouts beneath, newest first."""

    def __init__(self) -> None:
        super().__init__(id="watch")
        self.count = 0
        self.left = ""
        """The time left, in words; empty before and after."""
        self._words = ("", "")
        self._dropouts: list[Dropout] = []

    def show(self, view: View) -> None:
        """Show the dropouts of ``view``."""
        left, words = time_left(view), _words_of(view)
        if (view.dropout_count, left, words) != (self.count, self.left, self._words):
            self.count, self.left, self._words = view.dropout_count, left, words
            self._dropouts = list(islice(reversed(view.dropouts), _MOST_LINES))
            self.refresh()

    def render(self) -> Content:
        """Return the count beside its word, then a line for each dropout that has room."""
        tall = figures.draw(str(self.count), 1)
        one, many = self._words
        word = one if self.count == 1 else many
        beside = [""] * (len(tall) - 2) + [self.left, word]
        lines = [
            Content.assemble(f"{row}  ", (words, "bold"))
            for row, words in zip(tall, beside, strict=True)
        ]
        lines.append(Content("       at     for to").stylize("$quiet"))
        room = self.content_size.height - len(lines)
        lines += [Content(dropout_line(dropout)) for dropout in self._dropouts[: max(0, room)]]
        return Content("\n").join(lines)


def time_left(view: View) -> str:
    """Return what a step's own clock still has to run, in whole seconds; empty where none runs."""
    return "" if view.remaining_s is None else f"{ceil(view.remaining_s)} s left"


def dropout_line(dropout: Dropout) -> str:
    """Return when a dropout was, how long it lasted and how far it went."""
    depth = "over range" if dropout.depth is None else format_value(dropout.depth)
    return f"{dropout.t:7.1f} s {dropout.lasted_s:5.2f} s {depth}"


def _words_of(view: View) -> tuple[str, str]:
    """Return what is counted, once and often: a wire that must stay open has no dropouts."""
    if isinstance(view.step, WatchStep) and view.step.expect == "open":
        return "time closed", "times closed"
    return "dropout", "dropouts"
