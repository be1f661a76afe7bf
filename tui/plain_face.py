"""The face for where there is no terminal: a line per event, a table at the end."""

from collections.abc import Callable

from meterlink.events import Asked, StepBegan
from meterlink.progress import Progress
from tui.session import Seen
from tui.telling import Teller, table


class PlainFace:
    """Prints what happens as it happens."""

    def __init__(self, teller: Teller, write: Callable[[str], None] = print) -> None:
        self._teller = teller
        self._write = write

    def __call__(self, seen: Seen) -> None:
        """Print the events of this moment."""
        for event in seen.events:
            words = self._teller.tell(event)
            if not words:
                continue
            if isinstance(event, StepBegan):
                self._write("")
            indent = "" if isinstance(event, StepBegan | Asked) else "  "
            self._write(f"{event.t:8.2f} s  {indent}{words}")

    def end(self, progress: Progress) -> None:
        """Print the table of results."""
        self._write("")
        for line in table(progress, self._teller):
            self._write(line)
