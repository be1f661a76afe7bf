"""Signs that not every terminal can show, and how they are then spelled."""

import codecs
import sys
from typing import Final, TextIO

SPELLED: Final = "meterlink.spelled"
"""Name of the error handler for text streams that spells a sign out instead of losing it."""

_SPELLINGS: Final = {
    "Ω": "ohm",
    "±": "+/-",
    "µ": "u",
    "°": "",
    "·": ".",
    "×": "x",
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
