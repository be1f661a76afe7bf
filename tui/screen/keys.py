"""The commands of the bench and the keys that stand for them.

While a question stands, what is typed goes to it: then the commands have keys with Control. What
changes a setting has a function key, which nobody strikes by typing words. A pedal is a keyboard
with one key: any key can be taught to mean confirm, redo or skip, beside the key that the command
has already.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

import msgspec
from textual.binding import Binding, BindingType

from meterlink.commands import AnyCommand, Back, CallOpen, Confirm, Deny, How, Redo, Skip, Zero
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.repair import RepairStep
from meterlink.steps.watch import WatchStep
from tui.screen.view import View


class KeyCommand(NamedTuple):
    """A command that a key can mean."""

    name: str
    """Its name in settings, and the id of its binding."""
    key: str
    """The key that it has from the start."""
    label: str
    """The word beside the key at the foot of the screen."""
    does: str
    """What it does, for the help."""
    asked: str = ""
    """The key that it has while a question stands; empty: none, or ``key`` types nothing."""


KEYS: Final = (
    KeyCommand("confirm", "space", "confirm", "go on, accept what is held, acknowledge"),
    KeyCommand("redo", "r", "redo", "do this step again", "ctrl+r"),
    KeyCommand("skip", "s", "skip", "leave this step without an outcome", "ctrl+s"),
    KeyCommand("back", "b", "back", "take the last step back and do it again", "ctrl+b"),
    KeyCommand("zero", "z", "zero", "take what is held as the lead zero"),
    KeyCommand("deny", "n", "no", "answer no where a step asks yes or no"),
    KeyCommand("open", "ctrl+o", "open", "call it open on your word: said, not measured"),
)
"""What is told to the bench; ``y`` answers yes, which is the same as confirm."""

ON_SCREEN: Final = (
    KeyCommand("typed", "e", "type", "type a value, where the meter has no cable"),
    KeyCommand("budget", "u", "sure?", "show how sure the value is, and why"),
    KeyCommand("help", "question_mark", "help", "show this page", "f1"),
    KeyCommand("hands", "p", "hands", "play the hands of the simulated bench yourself"),
    KeyCommand("again", "m", "meter", "read again after the meter was lost"),
    KeyCommand("leave", "q", "quit", "leave; all is kept, the job can be taken up again", "ctrl+q"),
    KeyCommand("gestures", "f6", "gestures", "let taps of the probes count, or not"),
    KeyCommand("sound", "f7", "tones", "tones on and off"),
    KeyCommand("speech", "f8", "voice", "speech on and off"),
    KeyCommand("theme", "f9", "light", "dark, light, plain"),
)

COMMANDS: Final = frozenset(key.name for key in KEYS)
NAMES: Final = {key.name: key for key in (*KEYS, *ON_SCREEN)}
"""Every command by its name."""

PEDAL: Final = ("confirm", "redo", "skip")
"""The commands that a pedal can mean."""

_SHOWN: Final = {
    *("confirm", "redo", "skip", "back", "zero", "open", "budget", "help", "hands", "leave"),
}
_AT_THE_END: Final = NAMES.keys() - {"confirm", "redo", "skip", "zero", "deny", "open", "typed"}
_AT_CAUTIONS: Final = _AT_THE_END - {"budget"} | {"confirm"}

_TYPE_WORDS: Final = {"space", "question_mark"}
"""Names of keys that type something though their name is longer than that."""

_MAKE: Final[Mapping[str, type[Confirm | Redo | Skip | Back | Zero | Deny | CallOpen]]] = {
    "confirm": Confirm,
    "redo": Redo,
    "skip": Skip,
    "back": Back,
    "zero": Zero,
    "deny": Deny,
    "open": CallOpen,
}


def bindings() -> list[BindingType]:
    """Return the bindings of every command, each with its name for an id."""
    made: list[BindingType] = []
    for key in (*KEYS, *ON_SCREEN):
        does = f"tell('{key.name}')" if key in KEYS else key.name
        made.append(Binding(key.key, does, key.label, key.name in _SHOWN, id=key.name))
        if key.asked:
            asked = f"asked('{key.name}')"
            made.append(Binding(key.asked, asked, key.label, id=f"asked.{key.name}"))
            made.append(Binding(key.asked, does, show=False))
    # A pedal has no key until it is taught one; a name that no keyboard sends stands for it.
    made += [
        Binding(f"pedal_{name}", f"tell('{name}', 'pedal')", show=False, id=f"pedal.{name}")
        for name in PEDAL
    ]
    made.append(Binding("y", "tell('confirm', 'key')", "yes", show=False, id="yes"))
    made.append(Binding("enter", "answer", "answer", id="answer"))
    return made


def works(name: str, view: View) -> bool:
    """Return whether the command called ``name`` does something where ``view`` stands."""
    if view.progress.ended:
        return name in _AT_THE_END
    if isinstance(view.step, CautionStep):
        first = view.step.id == view.progress.card.step[0].id
        return name in _AT_CAUTIONS and not (first and name == "back")
    if isinstance(view.step, EntryStep | ConfirmationStep | RepairStep):
        return name not in ("zero", "open")
    return name != "open" or _can_be_open(view)


def _can_be_open(view: View) -> bool:
    step = view.step
    if isinstance(step, WatchStep):
        return step.expect == "closed" and view.remaining_s is None  # it has not begun
    return step is not None and step.can_be_called_open


def types_something(key: str) -> bool:
    """Return whether ``key`` writes a character where a text is typed."""
    return len(key) == 1 or key in _TYPE_WORDS


def keymap(keys: Mapping[str, str], pedal: Mapping[str, str]) -> dict[str, str]:
    """Return the screen library's keymap for ``keys`` and ``pedal``, keys by command."""
    return {**keys, **{f"pedal.{name}": key for name, key in pedal.items()}}


def signed(command: AnyCommand, who: str, when: str) -> AnyCommand:
    """Return ``command`` as given by ``who`` at ``when`` (RFC 3339)."""
    return msgspec.structs.replace(command, who=who, when=when)


def command_named(name: str, how: How) -> AnyCommand:
    """Return the command called ``name``, given in this way."""
    return _MAKE[name](how=how)
