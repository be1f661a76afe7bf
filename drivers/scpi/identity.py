"""Answers to ``*IDN?``: maker, model, serial number, firmware, commas between them (IEEE 488.2,
10.14). A field that an instrument cannot give is ``0``. No I/O."""

import re
from typing import Final

from meterlink.quantities.text import plain
from meterlink.source import Identity

_FIELDS: Final = 4
_LETTER: Final = re.compile(r"[A-Za-z]")


def is_identity(text: str) -> bool:
    """Whether ``text`` may be such an answer: fields, the first of them a name, not a number.

    Lenient about how many: some instruments give three, some put commas into the last.
    """
    fields = text.split(",")
    return len(fields) >= 2 and bool(_LETTER.match(fields[0].strip()))


def parse_identity(text: str, port: str) -> Identity:
    """Return the identity in ``text``, made plain; missing fields are empty."""
    fields = [field.strip() for field in text.split(",", _FIELDS - 1)]
    fields += [""] * (_FIELDS - len(fields))
    maker, model, serial, firmware = ("" if field == "0" else plain(field, 72) for field in fields)
    return Identity(maker=maker, model=model, serial=serial, firmware=firmware, port=port)
