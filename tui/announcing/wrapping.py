"""Lines printed for people: on a terminal they break between words, not within them."""

import re
import sys
from shutil import get_terminal_size
from textwrap import fill
from typing import Final

from meterlink.quantities.text import plain

_LONGEST: Final = 4000
"""Characters; no sentence comes near it."""

_COLUMN: Final = re.compile(r"\S {2,}(?=\S)")
"""Where a column of a line begins that has several."""


def say(line: str) -> None:
    """Print ``line``, broken at words to the width of the terminal; whole where there is none.

    It stays one line, whatever is in it.
    """
    out = sys.stdout
    line = plain(line, _LONGEST)
    print(wrapped(line, get_terminal_size().columns) if out is not None and out.isatty() else line)


def wrapped(line: str, columns: int) -> str:
    """Return ``line`` in rows of at most ``columns``; what goes on stands under where it began."""
    if len(line) < columns:
        return line
    begins = [column.end() for column in _COLUMN.finditer(line) if column.end() <= columns // 2]
    indent = begins[-1] if begins else len(line) - len(line.lstrip())
    return fill(
        line,
        max(columns - 1, indent + 20),
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
