"""Answers to ``*IDN?``: maker, model, serial number, firmware, commas between them (IEEE 488.2,
10.14). A field that an instrument cannot give is ``0``. No I/O."""

import re
from typing import Final

from meterlink.quantities.text import plain
from meterlink.quantities.window import OVER_WORDS
from meterlink.source import Identity

_FIELDS: Final = 4
_NAME: Final = re.compile(r"[A-Za-z]{2}")
_REFUSAL: Final = re.compile(
    r"err(or)?\b|unknown|undefined|invalid|illegal|syntax|not (known|found)", re.IGNORECASE
)
_NUMBER_FIRST: Final = re.compile(r"[+-]?[\d.]+([eE][+-]?\d+)?\s?([A-Za-zµ°\u03a9\u2126%]{0,5})\b")


def is_identity(text: str) -> bool:
    """Whether ``text`` is such an answer beyond doubt: fields, the first of them a name.

    Lenient about how many: some instruments give three, some put commas into the last.
    """
    fields = text.strip("\"'").split(",")
    return len(fields) >= 2 and may_be_identity(text) and fields[0].strip()[:1].isalpha()


def may_be_identity(text: str) -> bool:
    """Whether ``text`` may be one at all: a name, no reading, no complaint.

    An instrument may answer in one field. So may one that was not asked, which only asking again
    can tell.
    """
    first = text.strip("\"' ").split(",")[0].strip()
    words = first.split()
    if len(first) < 3 or not _NAME.search(text) or _REFUSAL.search(text) or not words:
        return False
    if words[0].upper() in OVER_WORDS or not words[0].isprintable():
        return False
    ascii_share = sum(c.isascii() for c in text) / len(text)
    number = _NUMBER_FIRST.match(first)
    # A number and a unit is a reading; «4 1/2 digit meter» is not.
    reading = number is not None and len(first[number.end() :].split()) < 2
    return ascii_share > 0.6 and not reading


def parse_identity(text: str, port: str) -> Identity:
    """Return the identity in ``text``, made plain; missing fields are empty."""
    text = text.strip()
    if len(text) > 1 and text[0] == text[-1] and text[0] in "\"'":
        text = text[1:-1]
    fields = [field.strip() for field in text.split(",", _FIELDS - 1)]
    if len(fields) == 1:
        return Identity(model=plain(fields[0], 72), port=port)
    fields += [""] * (_FIELDS - len(fields))
    maker, model, serial, firmware = ("" if field == "0" else plain(field, 72) for field in fields)
    return Identity(maker=maker, model=model, serial=serial, firmware=firmware, port=port)
