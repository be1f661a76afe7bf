"""What an instrument answers when it is asked for a reading: more than a bare number at times.

SCPI-99 lets an instrument send several elements, put a header before and a suffix behind; others
write a word where there is no number. No I/O.
"""

import math
import re
from typing import Final, NamedTuple

from drivers.scpi.blocks import AnswerFormError, unwrap
from drivers.scpi.numbers import answer_text
from meterlink.quantities.text import plain
from meterlink.quantities.window import OVER_WORDS, real_value
from meterlink.reading import Quantity

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


class Measured(NamedTuple):
    """One reading in an answer."""

    value: float
    """SI units. Infinite for an overload, not-a-number where the meter sent that."""
    text: str
    """As sent, without the white space around it."""
    quantity: Quantity | None = None
    """What the unit says; None where there is none."""
    plain_number: bool = True
    """Whether it is a number; a word has no shape to go by."""


def parse_measured(text: str) -> Measured:
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
        raise AnswerFormError(f"«{plain(text, 40)}» is more than any quantity")
    if math.isfinite(value) and power:
        value = value * 10.0**power if power > 0 else value / 10.0**-power
    return Measured(value, text, quantity)


def parse_answer(answer: bytes) -> list[str]:
    """Return the elements of an answer, bare or in a block.

    Raises:
        AnswerFormError: empty, control bytes, or a block that does not hold together.
    """
    text = answer_text(unwrap(answer))
    if not text:
        raise AnswerFormError("an empty answer")
    return text.split(",")


def _word(text: str) -> Measured:
    """Read a word in place of a number, with a label before it or a unit behind."""
    parts = [part for part in _BETWEEN.split(text) if part]
    for at, part in enumerate(parts[:2]):
        bare = part.upper().lstrip("+-") or part
        if len(parts) > at + 2 or bare not in OVER_WORDS | _NAN_WORDS:
            continue
        quantity, _ = _unit(parts[at + 1] if len(parts) > at + 1 else "", text)
        value = math.nan if bare in _NAN_WORDS else math.inf
        return Measured(
            -value if part.startswith("-") and bare != part else value,
            text,
            quantity,
            plain_number=False,
        )
    raise AnswerFormError(f"«{plain(text, 40)}» is not a number")


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
    raise AnswerFormError(f"«{plain(text, 40)}» is not a number")
