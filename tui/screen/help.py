"""Help in the page: keys, what the probes can say, what the pictures mean."""

from collections.abc import Callable, Iterator

from textual.content import Content

from meterlink.steps.entry import STANDING
from meterlink.wording import VERDICT_WORDS
from tui.announcing.forms import (
    DONE,
    FAULT,
    NOT_NEEDED,
    NOW,
    SKIPPED,
    TO_COME,
    VERDICT_FORMS,
)
from tui.screen.keys import KEYS, ON_SCREEN, KeyCommand

_GESTURES = (
    "Lift the probes after a verdict: the card goes to the next step.",
    "Tap the tips together twice, quickly: do this step again.",
    "Tap, touch the part, tap: an over range in between counts as open.",
    "Hold the tips together at the lead zero: the leads are taken.",
)
_ANSWERS = (
    "While a question stands, what is typed goes to it; Enter takes what the line beneath says.",
    "A choice goes by its first letters, its number or the arrows; y or n where it is yes or no.",
    "Escape gives the keys back to the bench, and Enter goes back to the question.",
    "An open on your word takes its own key and its own answer: it is said, not measured.",
)
_MARKS = (
    (NOW, "now"),
    (DONE, "done, and good"),
    (FAULT, "done, and not good"),
    (SKIPPED, "skipped"),
    (TO_COME, "to come"),
    (NOT_NEEDED, "not needed so far"),
)


def help_page(key_of: Callable[[KeyCommand], str]) -> Content:
    """Return the page; ``key_of`` gives the key of a command."""
    return Content("\n").join(_lines(key_of))


def _lines(key_of: Callable[[KeyCommand], str]) -> Iterator[Content]:
    yield _head("What the probes can say")
    for line in _GESTURES:
        yield Content(f"  {line}")
    yield _head("Keys")
    for key in (*KEYS, *ON_SCREEN):
        yield Content.assemble((f"  {key_of(key):>8}  ", "bold"), key.does)
        if key.asked:
            yield Content.assemble(
                (f"  {key.asked:>8}  ", "bold"), "the same, also while a question stands"
            )
    yield Content.assemble(("    ctrl+p  ", "bold"), "every command by name")
    yield _head("Answers")
    for line in _ANSWERS:
        yield Content(f"  {line}")
    yield _head("Marks")
    for mark, means in _MARKS:
        yield Content(f"  {mark}  {means}")
    for verdict, form in VERDICT_FORMS.items():
        yield Content(f"  {form}  {VERDICT_WORDS[verdict]}")
    yield _head("Cautions")
    for line in STANDING:
        yield Content(f"  ▲ {line}")


def _head(words: str) -> Content:
    return Content(words).stylize("bold underline")
