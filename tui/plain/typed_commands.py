"""Commands typed a line at a time, where there is no screen."""

from typing import Final

from captures.record.times import local_now, rfc3339
from meterlink.card import Step
from meterlink.commands import AnyCommand, Back, Confirm, Deny, Enter, How, Redo, Skip, Zero
from meterlink.steps.entry import ConfirmationStep, EntryStep

HELP: Final = (
    "Type and press Enter: nothing or «yes» confirms, «no» denies, «redo», «redo STEP REASON», "
    "«skip REASON», «back», «zero», «open» for an over range on your word, «why» for the "
    "uncertainty budget, «quit»; anything else is an entry, such as «19 °C» or «0.84 ohm». A yes "
    "or no is typed in full or by its letter, a choice by word, beginning or number."
)

_YES: Final = frozenset({"y", "yes", "ok", "confirm"})
_NO: Final = frozenset({"n", "no"})


def read_command(line: str, who: str = "", step: Step | None = None) -> AnyCommand | None:
    """Return the command that ``line`` says at ``step``; None for the wish to quit.

    While a step asks for an entry, what is typed goes there, unless it is a command word; so «yes»
    can be a text, and «n» the beginning of a choice.
    """
    text = line.strip()
    how, when = How.TYPED, rfc3339(local_now())
    entry = Enter(text=text, how=how, who=who, when=when)
    asks = isinstance(step, EntryStep)
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

    While a step ``asks`` for an entry, «back» is one only by itself: «back plate loose» is a text.
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
