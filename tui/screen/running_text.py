"""Running text: lines as they come, broken at words to the width that there is."""

from collections import deque
from typing import Final

from textual import events
from textual.message import Message
from textual.widgets import RichLog

from tui.announcing.wrapping import wrapped

_KEPT: Final = 2000
"""Lines that can be looked back at."""
_NARROWEST: Final = 20


class RunningText(RichLog):
    """Lines of plain text, newest last, broken anew whenever the width is another."""

    class Sized(Message):
        """Width or height are other than they were."""

    def __init__(self, id_: str) -> None:
        super().__init__(
            id=id_, wrap=True, markup=False, highlight=False, min_width=_NARROWEST, max_lines=_KEPT
        )
        self._kept: deque[str] = deque(maxlen=_KEPT)
        self._columns = 0
        """What the lines are broken to."""

    def say(self, line: str) -> None:
        """Show one more line."""
        self._kept.append(line)
        if self._columns:
            self._put(line)

    def on_resize(self, event: events.Resize) -> None:
        """Break all lines anew where the width is another."""
        super().on_resize(event)
        columns = self.scrollable_content_region.width
        if columns != self._columns:
            self._columns = columns
            self.clear()
            for line in self._kept:
                self._put(line)
        self.post_message(self.Sized())

    def _put(self, line: str) -> None:
        self.write(wrapped(line, self._columns + 1), width=self._columns)
