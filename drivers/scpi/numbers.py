"""Numbers as SCPI instruments answer them. No I/O.

Forms: NR1 (146), NR2 (12.3) and NR3 (2.73E+2) of IEEE 488.2 sections 8.7.2 to 8.7.4, read with
the latitude that 7.7.2 gives for what is sent to an instrument (a bare point, white space
before and after the E), as meters take it too. The numbers that stand for infinity and
not-a-number are those of ``meterlink.quantities.overrange``.
"""

import math
import re
from typing import Final, NamedTuple

from drivers.scpi.blocks import AnswerFormError, unwrap
from meterlink.quantities.text import plain
from meterlink.quantities.window import real_value

_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?", re.ASCII)


AROUND: Final = b"\0\x11\x13 \t\r\n"
"""What may stand around an answer and means nothing: white space, padding, XON and XOFF."""
_PROMPT: Final = re.compile(r"^(?:[A-Za-z0-9*_-]{0,12}[=>$%]*>\s*)+", re.ASCII)
"""What a terminal line asks with: ``> ``, ``SCPI> ``, ``=>``."""
_HEADER: Final = re.compile(r"^:[A-Z][A-Z0-9]*(?::[A-Z][A-Z0-9]*)*\s+", re.ASCII)
"""A response header (IEEE 488.2, 8.2): ``:RES +1.0E3``."""


class Number(NamedTuple):
    """One number of an answer."""

    value: float
    """Infinite for an overload, not-a-number where the meter sent that."""
    text: str
    """As sent, without the white space around it."""

    @property
    def overload(self) -> bool:
        """Whether the meter says that the value is beyond its range."""
        return math.isinf(self.value)


def parse_number(text: str) -> Number:
    """Read one number.

    Raises:
        AnswerFormError: ``text`` is not a number in any of the forms.
    """
    text = text.strip()
    if not _NUMBER.fullmatch(text):
        raise AnswerFormError(f"«{plain(text, 40)}» is not a number")
    return Number(real_value(float("".join(text.split()))), text)


def parse_numbers(answer: bytes) -> list[Number]:
    """Read an answer that is a list of numbers, commas between them, bare or in a block.

    Raises:
        AnswerFormError: empty, control bytes, rubbish, or a block that does not hold together.
    """
    text = answer_text(unwrap(answer))
    return [parse_number(part) for part in text.split(",")]


def answer_text(answer: bytes) -> str:
    """Return ``answer`` as text without white space, prompt and header around it.

    Text that is neither ASCII nor UTF-8 is taken for Latin-1, as older instruments write it.

    Raises:
        AnswerFormError: control bytes, which no instrument's text holds.
    """
    try:
        text = answer.strip(AROUND).decode("utf-8")
    except UnicodeDecodeError:
        text = answer.strip(AROUND).decode("latin-1")
    if not text.replace("\t", " ").isprintable():
        raise AnswerFormError("the answer holds control bytes")
    text = _PROMPT.sub("", text)
    return _HEADER.sub("", text)
