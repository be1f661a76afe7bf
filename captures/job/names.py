"""Names of folders and files made from whatever a person or another file calls a thing."""

import unicodedata
from pathlib import Path
from typing import Final

from meterlink.quantities.text import plain

_LONGEST_BYTES: Final = 80
"""In UTF-8; leaves room for a date, a number and an ending on every file system."""

_LONGEST_SHOWN: Final = 4096
"""Characters; more than any system lets a path have."""

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


def shown_path(path: Path) -> str:
    """Return a path as a line of text may show it: none of its characters steers a terminal."""
    return plain(str(path), _LONGEST_SHOWN)


def as_utf8(name: str) -> str:
    """Return a name that JSON can hold: what is no UTF-8 comes from the disk as surrogates."""
    return name.encode("utf-8", "replace").decode("utf-8")
