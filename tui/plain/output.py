"""The one way to the terminal: whatever is printed passes here, and none of it steers the terminal.

Text from a meter, a file or a pack is made plain where it comes in and where it is put into a
sentence; this is the place that holds even where both were forgotten. Line feeds and tabs pass,
and the line ends of CSV. In a line of JSON the rest is escaped, so that it is read back as it was;
elsewhere it is made visible as U+FFFD.
"""

import re
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final, TextIO, cast

from meterlink.quantities.text import plain

_USUAL: Final = re.compile(r"[\n\t\x20-\x7e]*")
_LINE_ENDS: Final = re.compile(r"(\r?\n|\t)")
_JSON: Final = re.compile(r'\{".*\}\n*', re.DOTALL)
_UNSAFE: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def shown(text: str) -> str:
    """Return ``text`` as it may go to a terminal."""
    if _USUAL.fullmatch(text):
        return text
    if _JSON.fullmatch(text):
        return "".join(_escaped(c) for c in text)
    parts = _LINE_ENDS.split(text)
    return "".join(part if n % 2 else plain(part, len(part)) for n, part in enumerate(parts))


def _escaped(character: str) -> str:
    """Return ``character`` as it may stand in a JSON text that goes to a terminal."""
    if character in "\n\t" or unicodedata.category(character) not in _UNSAFE:
        return character
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at : at + 2].hex()}" for at in range(0, len(units), 2))


class _Harmless:
    """A text stream that lets nothing pass that steers a terminal; else the stream itself."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        self._stream.write(shown(text))
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def harmless_output() -> Iterator[None]:
    """Send all that is printed inside through ``shown``."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (cast("TextIO", _Harmless(stream)) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
