"""Answers of instruments: cut out of a byte stream, and the numbers in them. No I/O.

Blocks: IEEE 488.2 sections 8.7.9 and 8.7.10. Definite block: ``#``, one digit d from 1 to 9, d
digits of length, that many bytes, any of which may look like an end of line. Indefinite block:
``#0``, bytes up to the line feed that ends the message.

Numbers: NR1 (146), NR2 (12.3) and NR3 (2.73E+2) of IEEE 488.2 sections 8.7.2 to 8.7.4, read with
the latitude that 7.7.2 gives for what is sent to an instrument (a bare point, white space before
and after the E), as meters take it too. An instrument may send several elements, put a header
before and a suffix behind (SCPI-1999); others write a word where there is no number.
"""

import math
import re
from typing import Final, NamedTuple

from meterlink.quantities.text import plain
from meterlink.quantities.window import OVER_WORDS, real_value
from meterlink.reading import Quantity

LONGEST: Final = 65536
"""Longest answer kept, bytes: over a thousand readings at their longest."""

_END: Final = re.compile(rb"[\r\n]")
_WHITE: Final = b" \t\r\n"
_PADDING: Final = b"\0\x11\x13"
"""NUL, XON and XOFF before an answer mean nothing."""


class AnswerFormError(ValueError):
    """Bytes that are no answer an instrument would give; the text says what is wrong."""


class AnswerDecoder:
    """Strategy: take whatever bytes came, give back whole answers, keep the rest.

    An answer ends with a line feed, a carriage return or both; empty ones are passed over. What
    is kept has a bound, so a peer that never ends a line cannot grow memory.
    """

    def __init__(self, longest: int = LONGEST) -> None:
        self._rest = bytearray()
        self._searched = 0
        self._longest = longest

    def feed(self, data: bytes) -> list[bytes]:
        """Return the answers that ``data`` completes, oldest first, without their ends.

        Raises:
            AnswerFormError: more than the longest answer without an end; what was kept is gone.
        """
        self._rest += data
        answers = []
        while (answer := self._take()) is not None:
            if answer:
                answers.append(answer)
        if len(self._rest) > self._longest and not answers:
            self.clear()
            raise AnswerFormError(f"no end within {self._longest} bytes")
        return answers

    @property
    def unfinished(self) -> bool:
        """Whether something came since the last answer ended."""
        return bool(self._rest.strip())

    def flush(self) -> bytes:
        """Take what is kept for an answer: the peer ends none, and has paused."""
        answer = bytes(self._rest)
        self.clear()
        return answer

    def clear(self) -> None:
        """Forget what is kept of an unfinished answer."""
        self._rest.clear()
        self._searched = 0

    def _take(self) -> bytes | None:
        """Take the first whole answer off ``_rest``, or None while it is unfinished."""
        padding = len(self._rest) - len(self._rest.lstrip(_PADDING))
        if padding:
            del self._rest[:padding]
            self._searched = 0
        try:
            block_end = definite_end(self._rest, self._longest)
        except AnswerFormError:
            self.clear()
            raise
        if block_end is None:
            return None
        found = _END.search(self._rest, max(block_end, self._searched))
        if found is None:
            self._searched = len(self._rest)
            return None
        answer = bytes(self._rest[: found.start()])
        del self._rest[: found.end()]
        self._searched = 0
        return answer


def definite_end(data: bytes | bytearray, longest: int = LONGEST) -> int | None:
    """Return where the definite block at the start of ``data`` ends.

    0 where ``data`` starts with none; None while the block is unfinished.

    Raises:
        AnswerFormError: the block announces more than ``longest`` bytes, or no length.
    """
    if data[:1] != b"#":
        return 0
    if len(data) < 2:
        return None
    if not 0x31 <= data[1] <= 0x39:
        return 0
    start = 2 + data[1] - 0x30
    digits = data[2:start]
    if digits and not digits.isdigit():
        raise AnswerFormError("a block whose length is not a number")
    if len(data) < start:
        return None
    end = start + int(digits)
    if end > longest:
        raise AnswerFormError(f"a block of {int(digits)} bytes, longer than any answer asked for")
    return end if len(data) >= end else None


def unwrap(answer: bytes) -> bytes:
    """Return what the block ``answer`` holds, or ``answer`` itself where it is no block.

    Raises:
        AnswerFormError: the block is cut short, or something follows it.
    """
    answer = answer.lstrip(_WHITE)
    if answer[:2] == b"#0":
        return answer[2:].removesuffix(b"\n")
    end = definite_end(answer)
    if end is None:
        raise AnswerFormError("a block that is cut short")
    if end == 0:
        return answer
    if answer[end:].strip(_WHITE):
        raise AnswerFormError("something follows the block")
    return answer[2 + answer[1] - 0x30 : end]


_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?", re.ASCII)


AROUND: Final = b"\0\x11\x13 \t\r\n"
"""What may stand around an answer and means nothing: white space, padding, XON and XOFF."""
_PROMPT: Final = re.compile(rb"^(?:[A-Za-z0-9*_-]{0,12}[=>$%]*>\s*)+")
"""What a terminal line asks with: ``> ``, ``SCPI> ``, ``=>``."""
_HEADER: Final = re.compile(r"^:[A-Z][A-Z0-9]*(?::[A-Z][A-Z0-9]*)*\s+", re.ASCII)
"""A response header (IEEE 488.2, 8.2): ``:RES +1.0E3``."""


def parse_number(text: str) -> float:
    """Return one number: infinite for an overload, not-a-number where the meter sent that.

    Raises:
        AnswerFormError: ``text`` is not a number in any of the forms.
    """
    text = text.strip()
    if not _NUMBER.fullmatch(text):
        raise AnswerFormError(f"“{plain(text, 40)}” is not a number")
    return real_value(float("".join(text.split())))


def without_prompt(answer: bytes) -> bytes:
    """Return ``answer`` without what a terminal line asks with, and white space around it."""
    return _PROMPT.sub(b"", answer.strip(AROUND))


def answer_text(answer: bytes) -> str:
    """Return ``answer`` as text without white space, prompt and header around it.

    Text that is neither ASCII nor UTF-8 is taken for Latin-1, as older instruments write it.

    Raises:
        AnswerFormError: control bytes, which no instrument's text holds.
    """
    bare = without_prompt(answer)
    try:
        text = bare.decode("utf-8")
    except UnicodeDecodeError:
        text = bare.decode("latin-1")
    if not text.replace("\t", " ").isprintable():
        raise AnswerFormError("the answer holds control bytes")
    return _HEADER.sub("", text)


def text_or_none(answer: bytes | AnswerFormError) -> str | None:
    """Return an answer's text; None where it is damaged."""
    try:
        return None if isinstance(answer, AnswerFormError) else answer_text(answer)
    except AnswerFormError:
        return None


_VALUE: Final = re.compile(
    r"(?:(?P<label>:?[A-Za-z][A-Za-z0-9_:*]{0,24})(?:\s*[:=]\s*|\s+))?"
    r"(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:\s?[eE]\s?[+-]?\d{1,3})?)"
    r"\s?(?P<unit>[A-Za-zµ°\u03a9\u2126\u03bc#%]{0,6})",
    re.ASCII,
)
_MOST: Final = 1e30
"""No quantity in SI units is so large: such a number is a damaged 9.9E37."""
_BETWEEN: Final = re.compile(r"\s*[:=]\s*|\s+")

_NAN_WORDS: Final = frozenset(("NAN", "INVALID"))

_BASES: Final = {
    "OHM": Quantity.RESISTANCE,
    "OHMS": Quantity.RESISTANCE,
    "\u03a9": Quantity.RESISTANCE,
    "\u2126": Quantity.RESISTANCE,
    "V": Quantity.VOLTAGE,
    "VDC": Quantity.VOLTAGE,
    "A": Quantity.CURRENT,
    "ADC": Quantity.CURRENT,
    "HZ": Quantity.FREQUENCY,
    "C": Quantity.TEMPERATURE,
    "CEL": Quantity.TEMPERATURE,
}
_FARAD: Final = {"F": Quantity.CAPACITANCE}
"""With a prefix only: ``72 F`` may be a temperature."""
_PREFIXES: Final = {"k": 3, "K": 3, "M": 6, "G": 9, "m": -3, "u": -6, "µ": -6, "\u03bc": -6}
_PREFIXES_MORE: Final = {"n": -9, "N": -9, "p": -12, "P": -12, "U": -6}


class MeasuredAnswer(NamedTuple):
    """One reading in an answer."""

    value: float
    """SI units. Infinite for an overload, not-a-number where the meter sent that."""
    text: str
    """As sent, without the white space around it."""
    quantity: Quantity | None = None
    """What the unit says; None where there is none."""
    plain_number: bool = True
    """Whether it is a number; a word has no shape to go by."""


def parse_measured(text: str) -> MeasuredAnswer:
    """Read one element that is a reading.

    Raises:
        AnswerFormError: it is none.
    """
    text = text.strip()
    found = _VALUE.fullmatch(text)
    if found is None:
        return _word(text)
    quantity, power = _unit(found["unit"], text)
    value = real_value(float("".join(found["number"].split())))
    if _MOST < abs(value) < math.inf:
        raise AnswerFormError(f"“{plain(text, 40)}” is more than any quantity")
    if math.isfinite(value) and power:
        value = value * 10.0**power if power > 0 else value / 10.0**-power
    return MeasuredAnswer(value, text, quantity)


def parse_answer(answer: bytes) -> list[str]:
    """Return the elements of an answer, bare or in a block.

    Raises:
        AnswerFormError: empty, control bytes, or a block that does not hold together.
    """
    text = answer_text(unwrap(answer))
    if not text:
        raise AnswerFormError("an empty answer")
    return text.split(",")


def _word(text: str) -> MeasuredAnswer:
    """Read a word in place of a number, with a label before it or a unit behind."""
    parts = [part for part in _BETWEEN.split(text) if part]
    for at, part in enumerate(parts[:2]):
        bare = part.upper().lstrip("+-") or part
        if len(parts) > at + 2 or bare not in OVER_WORDS | _NAN_WORDS:
            continue
        quantity, _ = _unit(parts[at + 1] if len(parts) > at + 1 else "", text)
        value = math.nan if bare in _NAN_WORDS else math.inf
        return MeasuredAnswer(
            -value if part.startswith("-") and bare != part else value,
            text,
            quantity,
            plain_number=False,
        )
    raise AnswerFormError(f"“{plain(text, 40)}” is not a number")


def _unit(unit: str, text: str) -> tuple[Quantity | None, int]:
    """Return the quantity that ``unit`` says, and its power of ten."""
    if not unit:
        return None, 0
    if unit in ("F", "f"):  # farads, or degrees Fahrenheit: it says nothing for sure
        return None, 0
    if (quantity := _BASES.get(unit.upper())) is not None:
        return quantity, 0
    base = unit[1:].upper()
    if (quantity := _FARAD.get(base) or _BASES.get(base)) is not None:
        prefix = unit[0]
        power = {**_PREFIXES, **_PREFIXES_MORE}.get(prefix)
        if prefix == "M" and unit.isupper() and quantity is not Quantity.RESISTANCE:
            # In SCPI's capitals M is milli, but for MOHM and MHZ (SCPI-1999 volume 1, 7.3).
            power = 6 if quantity is Quantity.FREQUENCY else -3
        if power is not None:
            return quantity, power
    raise AnswerFormError(f"“{plain(text, 40)}” is not a number")
