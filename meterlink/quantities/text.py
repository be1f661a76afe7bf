"""Text that came from outside, made harmless once, at the edge.

A meter's identity, a frame's raw characters, a profile's name: any of them may hold escape
sequences, line breaks or direction marks that a terminal or a page would obey.
"""

import unicodedata
from collections.abc import Sequence
from typing import Any, Final

_UNSAFE: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories that steer a display instead of showing a character."""

_MARK: Final = "\N{REPLACEMENT CHARACTER}"


def plain(text: str, longest: int = 200) -> str:
    """Return ``text`` with every control, format and surrogate character made visible as U+FFFD.

    Longer text is cut to ``longest`` characters, the last of them an ellipsis.
    """
    if len(text) > longest:
        text = text[: longest - 1] + "\N{HORIZONTAL ELLIPSIS}"
    if text.isascii() and text.isprintable():
        return text
    return "".join(_MARK if unicodedata.category(c) in _UNSAFE else c for c in text)


def harmless(given: Any) -> Any:
    """Return ``given``, as decoded from a file, with every text in it plain; line breaks stay."""
    if isinstance(given, str):
        return "\n".join(plain(line, len(line)) for line in given.split("\n"))
    if isinstance(given, dict):
        return {harmless(key): harmless(value) for key, value in given.items()}
    if isinstance(given, list | tuple):
        return [harmless(item) for item in given]
    return given


def normalise(text: str) -> str:
    """Return ``text`` with look-alike signs made one: both ohm signs, micro signs and minuses."""
    text = unicodedata.normalize("NFKC", text)
    return text.replace("\N{GREEK SMALL LETTER MU}", "µ").replace("\N{MINUS SIGN}", "-")


def chosen_of(choices: Sequence[str], text: str) -> tuple[str, str]:
    """Return which of ``choices`` was typed, in full, as it begins or by its number.

    Else nothing, and as a sentence why none or more than one can be meant.
    """
    typed = text.lower()
    fits = [choice for choice in choices if choice.lower() == typed] or [
        choice for choice in choices if typed and choice.lower().startswith(typed)
    ]
    if text.isdecimal() and 1 <= int(text) <= len(choices):
        fits = [choices[int(text) - 1]]
    if len(fits) == 1:
        return fits[0], ""
    why = f"can be {' or '.join(fits)}" if fits else f"is none of {', '.join(choices)}"
    return "", f"{quoted(text)} {why}."


def quoted(text: str) -> str:
    """Return what was typed, to be said back."""
    return f"“{plain(text)}”" if text.strip() else "Nothing"
