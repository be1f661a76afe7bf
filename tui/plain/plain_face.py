"""The face for where there is no terminal: a line per event, a table at the end."""

from collections.abc import Callable
from typing import Final

from meterlink.bench.progress import Progress
from meterlink.events import Asked, Judged, StepBegan
from meterlink.quantities.text import plain
from tui.announcing.teller import Teller, table
from tui.announcing.wrapping import say
from tui.session.ending import finding_of
from tui.session.session import Update

NOTHING_JUDGED: Final = "Nothing is judged yet."
LONGEST: Final = 600
"""Characters of a sentence."""


class PlainFace:
    """Prints what happens as it happens."""

    def __init__(
        self,
        teller: Teller,
        write: Callable[[str], None] = say,
        trouble: Callable[[], str] = str,
    ) -> None:
        """``trouble`` says why nothing can be written down now; empty where all is well."""
        self._teller = teller
        self._write = write
        self._trouble = trouble
        self._said = ""
        self._judged: Judged | None = None
        """The newest verdict."""

    def __call__(self, seen: Update) -> None:
        """Print the events of this moment, and loudly what keeps them from being written down."""
        trouble = self._trouble()
        if trouble != self._said:
            self._said = trouble
            self._write(f"!!! {trouble}" if trouble else "!!! the record can be written again")
        for event in seen.events:
            if isinstance(event, Judged):
                self._judged = event
            words = self._teller.tell(event)
            if not words:
                continue
            if isinstance(event, StepBegan):
                self._write("")
            indent = "" if isinstance(event, StepBegan | Asked) else "  "
            self._write(f"{event.t:8.2f} s  {indent}{words}")
            if isinstance(event, StepBegan):
                for caution in self._teller.cautions(event.step):
                    self._write(f"            ! {caution}")

    def end(self, progress: Progress) -> None:
        """Print the table of results, and what they together mean."""
        self._write("")
        for line in table(progress, self._teller):
            self._write(line)
        for number, sentence in enumerate(finding_of(progress, self._teller.profile)):
            if not number:
                self._write("")
            self._write(plain(sentence, LONGEST))

    def why(self) -> None:
        """Print how sure the newest verdict is, and what that rests on."""
        lines = [NOTHING_JUDGED] if self._judged is None else self._teller.why(self._judged)
        for line in lines:
            self._write(f"            {line}")
