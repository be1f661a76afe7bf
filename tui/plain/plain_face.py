"""The face for where there is no screen: a line per event, typed commands, a table at the end."""

from collections.abc import Callable
from typing import Final

from captures.record.files import local_now, rfc3339
from meterlink.bench.progress import Progress
from meterlink.bench.snapshot import Update
from meterlink.card import Step
from meterlink.commands import AnyCommand, Back, Confirm, Deny, Enter, How, Redo, Skip, Zero
from meterlink.events import Asked, Judged, StepBegan
from meterlink.quantities.text import plain
from meterlink.steps.entry import ConfirmationStep, EntryStep
from meterlink.steps.repair import RepairStep
from tui.announcing.signs import say
from tui.announcing.teller import Teller, finding_of, table

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


HELP: Final = (
    "Type and press Enter: nothing or “yes” confirms, “no” denies, “redo”, “redo STEP REASON”, "
    "“skip REASON”, “back”, “zero”, “open” for an over range on your word, “why” for the "
    "uncertainty budget, “quit”; anything else is an entry, such as “19 °C” or “0.84 ohm”. A yes "
    "or no is typed in full or by its letter, a choice by word, beginning or number."
)

_YES: Final = frozenset({"y", "yes", "ok", "confirm"})
_NO: Final = frozenset({"n", "no"})


def read_command(line: str, who: str = "", step: Step | None = None) -> AnyCommand | None:
    """Return the command that ``line`` says at ``step``; None for the wish to quit.

    While a step asks for an entry, what is typed goes there, unless it is a command word; so “yes”
    can be a text, and “n” the beginning of a choice.
    """
    text = line.strip()
    how, when = How.TYPED, rfc3339(local_now())
    entry = Enter(text=text, how=how, who=who, when=when)
    asks = isinstance(step, EntryStep | RepairStep)
    if isinstance(step, EntryStep) and text.lower() in map(str.lower, step.choices):
        return entry
    match text.lower():
        case "" if not isinstance(step, ConfirmationStep):
            return Confirm(how=how, who=who, when=when)
        case word if word in _YES and not asks:
            return Confirm(how=how, who=who, when=when)
        case word if word in _NO and not asks:
            return Deny(how=how, who=who, when=when)
        case "zero":
            return Zero(how=how, who=who, when=when)
        case "quit":
            return None
    return _with_reason(text, who, when, asks=asks) or entry


def _with_reason(text: str, who: str, when: str, *, asks: bool) -> AnyCommand | None:
    """Return the command that ``text`` begins with, the rest being its reason; None: no command.

    While a step ``asks`` for an entry, “back” is one only by itself: “back plate loose” is a text.
    """
    word, _, rest = text.partition(" ")
    how, rest = How.TYPED, rest.strip()
    match word.lower():
        case "redo":
            step, _, reason = rest.partition(" ")
            return Redo(step=step, reason=reason.strip(), how=how, who=who, when=when)
        case "skip":
            return Skip(reason=rest, how=how, who=who, when=when)
        case "back" if not (asks and rest):
            return Back(reason=rest, how=how, who=who, when=when)
    return None
