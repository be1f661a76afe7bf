"""Commands typed a line at a time, where there is no screen."""

from typing import Final

from captures.record.times import local_now, rfc3339
from meterlink.commands import AnyCommand, Back, Confirm, Deny, Enter, How, Redo, Skip, Zero

HELP: Final = (
    "Type and press Enter: nothing or «yes» confirms, «no» denies, «redo», «redo STEP REASON», "
    "«skip REASON», «back», «zero», «why» for the uncertainty budget, «quit»; anything else is an "
    "entry, such as «19 °C» or «0.84 ohm»."
)


def read_command(line: str, who: str = "") -> AnyCommand | None:
    """Return the command that ``line`` says; None for the wish to quit."""
    text = line.strip()
    word, _, rest = text.partition(" ")
    how, when = How.TYPED, rfc3339(local_now())
    match word.lower():
        case "" | "y" | "yes" | "ok" | "confirm":
            return Confirm(how=how, who=who, when=when)
        case "n" | "no":
            return Deny(how=how, who=who, when=when)
        case "redo":
            step, _, reason = rest.strip().partition(" ")
            return Redo(step=step, reason=reason.strip(), how=how, who=who, when=when)
        case "skip":
            return Skip(reason=rest.strip(), how=how, who=who, when=when)
        case "back":
            return Back(reason=rest.strip(), how=how, who=who, when=when)
        case "zero":
            return Zero(how=how, who=who, when=when)
        case "quit":
            return None
    return Enter(text=text, how=how, who=who, when=when)
