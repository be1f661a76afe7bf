"""Names of folders and files made from whatever a person or another file calls a thing."""

import unicodedata
from typing import Final

_LONGEST_BYTES: Final = 80
"""In UTF-8; leaves room for a date, a number and an ending on every file system."""

_KEPT: Final = frozenset({"Lu", "Ll", "Lt", "Lo", "Lm", "Mn", "Mc", "Nd"})


def safe_name(title: str, otherwise: str) -> str:
    """Return ``title`` as one part of a path: letters and digits of any script, and hyphens.

    Never empty, never a dot or a separator, never ends in a space or dot; a title with no
    letter or digit gives ``otherwise``. The caller puts a date or number before it, which
    also keeps it from being a device's name on Windows.
    """
    kept = [
        c if unicodedata.category(c) in _KEPT else "-"
        for c in unicodedata.normalize("NFC", title[:500]).lower()
    ]
    name = "-".join(part for part in "".join(kept).split("-") if part)
    name = name.encode("utf-8", "ignore")[:_LONGEST_BYTES].decode("utf-8", "ignore")
    return unicodedata.normalize("NFC", name).strip("-") or otherwise


def safe_ending(name: str) -> str:
    """Return the ending of a file's name, dot included, or nothing where it is no usual one."""
    stem, dot, ending = name.rpartition(".")
    if stem and dot and ending.isascii() and ending.isalnum() and len(ending) <= 8:
        return f".{ending.lower()}"
    return ""
