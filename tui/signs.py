"""Which signs the output can show."""

import sys
from typing import TextIO


def can_show(sign: str, stream: TextIO | None = None) -> bool:
    """Return whether ``stream`` (default: standard output) has a code for ``sign``."""
    encoding = getattr(stream or sys.stdout, "encoding", None) or "utf-8"
    try:
        sign.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True
