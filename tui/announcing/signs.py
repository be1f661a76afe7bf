"""What a terminal can show: signs it may lack, and lines no wider than it is."""

import codecs
import re
import sys
from shutil import get_terminal_size
from textwrap import fill
from typing import Final, TextIO

from meterlink.quantities.text import plain

SPELLED: Final = "meterlink.spelled"
"""Name of the error handler for text streams that spells a sign out instead of losing it."""

_SPELLINGS: Final = {
    "Ω": "ohm",
    "±": "+/-",
    "µ": "u",
    "°": "",
    "·": ".",
    "×": "x",
    "“": '"',
    "”": '"',
    "’": "'",
    "«": '"',
    "»": '"',
    "–": "-",
    "…": "...",
}


def can_show(sign: str, stream: TextIO | None = None) -> bool:
    """Return whether ``stream`` (default: standard output) has a code for ``sign``."""
    encoding = getattr(stream or sys.stdout, "encoding", None) or "utf-8"
    try:
        sign.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _spell(fault: UnicodeError) -> tuple[str, int]:
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    lost = fault.object[fault.start : fault.end]
    return "".join(_SPELLINGS.get(sign, "?") for sign in lost), fault.end


codecs.register_error(SPELLED, _spell)


_LONGEST: Final = 4000
"""Characters; no sentence comes near it."""

_COLUMN: Final = re.compile(r"\S {2,}(?=\S)")
"""Where a column of a line begins that has several."""


_BEFORE_UNIT: Final = re.compile(r"(?<=\d) (?=(?:%|°C|N·m|mm|min|s|[kMm]?Ω|[kM]?ohm)(?!\w))")
"""A blank at which no line is broken: number and unit stand together (ISO 80000-1, 7.1.4)."""
_TIED: Final = "\N{NO-BREAK SPACE}"


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
        _BEFORE_UNIT.sub(_TIED, line),
        max(columns - 1, indent + 20),
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    ).replace(_TIED, " ")
