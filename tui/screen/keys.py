"""The commands of the bench and the keys that stand for them.

A pedal is a keyboard with one key: any key can be taught to mean confirm, redo or skip, beside
the key that the command has already.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

import msgspec
from textual.binding import Binding, BindingType

from meterlink.commands import AnyCommand, Back, Confirm, Deny, How, Redo, Skip, Zero


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


KEYS: Final = (
    KeyCommand("confirm", "space", "confirm", "go on, accept, or «the probes are on»"),
    KeyCommand("redo", "r", "redo", "do this step again"),
    KeyCommand("skip", "s", "skip", "leave this step without an outcome"),
    KeyCommand("back", "b", "back", "take the last step back and do it again"),
    KeyCommand("zero", "z", "zero", "take what is held as the lead zero"),
    KeyCommand("deny", "n", "no", "answer no where a step asks yes or no"),
)
"""What is told to the bench; ``y`` answers yes, which is the same as confirm."""

ON_SCREEN: Final = (
    KeyCommand("typed", "e", "type", "type a value, where the meter has no cable"),
    KeyCommand("budget", "u", "sure?", "show how sure the value is, and why"),
    KeyCommand("help", "question_mark", "help", "show this page"),
    KeyCommand("hands", "p", "hands", "play the hands of the simulated bench yourself"),
    KeyCommand("gestures", "g", "gestures", "let taps of the probes count, or not"),
    KeyCommand("sound", "t", "tones", "tones on and off"),
    KeyCommand("speech", "v", "voice", "speech on and off"),
    KeyCommand("again", "m", "meter", "read again after the meter was lost"),
    KeyCommand("theme", "l", "light", "dark, light, plain"),
    KeyCommand("leave", "q", "quit", "leave; all is kept, and the job can be taken up again"),
)

PEDAL: Final = ("confirm", "redo", "skip")
"""The commands that a pedal can mean."""

_SHOWN: Final = {"confirm", "redo", "skip", "back", "zero", "budget", "help", "hands", "leave"}

_MAKE: Final[Mapping[str, type[Confirm | Redo | Skip | Back | Zero | Deny]]] = {
    "confirm": Confirm,
    "redo": Redo,
    "skip": Skip,
    "back": Back,
    "zero": Zero,
    "deny": Deny,
}


def bindings() -> list[BindingType]:
    """Return the bindings of every command, each with its name for an id."""
    made: list[BindingType] = [
        Binding(key.key, f"tell('{key.name}')", key.label, key.name in _SHOWN, id=key.name)
        for key in KEYS
    ]
    made += [
        Binding(key.key, key.name, key.label, key.name in _SHOWN, id=key.name) for key in ON_SCREEN
    ]
    # A pedal has no key until it is taught one; a name that no keyboard sends stands for it.
    made += [
        Binding(f"pedal_{name}", f"tell('{name}', 'pedal')", show=False, id=f"pedal.{name}")
        for name in PEDAL
    ]
    made.append(Binding("y", "tell('confirm')", "yes", show=False, id="yes"))
    return made


def keymap(keys: Mapping[str, str], pedal: Mapping[str, str]) -> dict[str, str]:
    """Return the screen library's keymap for ``keys`` and ``pedal``, keys by command."""
    return {**keys, **{f"pedal.{name}": key for name, key in pedal.items()}}


def signed(command: AnyCommand, who: str, when: str) -> AnyCommand:
    """Return ``command`` as given by ``who`` at ``when`` (RFC 3339)."""
    return msgspec.structs.replace(command, who=who, when=when)


def command_named(name: str, how: How) -> AnyCommand:
    """Return the command called ``name``, given in this way."""
    return _MAKE[name](how=how)
