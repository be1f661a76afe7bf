"""What an instrument says of itself: who it is, what it refuses, which function it is on. No I/O.

``*IDN?``: maker, model, serial number, firmware, commas between them (IEEE 488.2, 10.14); a field
that an instrument cannot give is ``0``. ``SYSTem:ERRor[:NEXT]?`` answers
``number,"description[;device info]"`` (SCPI-1999 volume 2, 21.8); 0 is an empty queue. Numbers
from -100 to -499 are the standard's own, positive ones the maker's.
"""

import re
from typing import Final

import msgspec

from drivers.scpi.answers import AnswerFormError, answer_text
from meterlink.quantities.text import plain
from meterlink.quantities.window import OVER_WORDS
from meterlink.reading import Quantity
from meterlink.source import Identity, MeterSetup

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
    # A number and a unit is a reading; “4 1/2 digit meter” is not.
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


_ENTRY: Final = re.compile(r'\s*([+-]?\d{1,5})\s*(?:,\s*"?(.*?)"?\s*)?', re.ASCII | re.DOTALL)

STANDARD: Final = {
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -113: "Undefined header",
    -120: "Numeric data error",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -200: "Execution error",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -240: "Hardware error",
    -310: "System error",
    -350: "Queue overflow",
    -360: "Communication error",
    -361: "Parity error in program message",
    -362: "Framing error in program message",
    -363: "Input buffer overrun",
    -365: "Time out error",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
}
"""The standard's texts, for instruments that send the number alone."""

_MEANING: Final = (
    (range(-199, -99), "the meter does not know that command"),
    (range(-299, -199), "the meter knows the command but cannot do it"),
    (range(-399, -299), "the meter reports a fault of its own"),
    (range(-499, -399), "the conversation with the meter got out of step"),
)


class Refusal(msgspec.Struct, frozen=True):
    """One entry of the error queue."""

    code: int
    text: str
    """Description and device info, made plain."""

    def __str__(self) -> str:
        meaning = next((words for codes, words in _MEANING if self.code in codes), "")
        said = f"error {self.code}, {self.text}" if self.text else f"error {self.code}"
        return f"{meaning} ({said})" if meaning else said


UNTOLD: Final = Refusal(-100, "")
"""Stands for a refusal that the instrument's event status shows, but no queue explains."""


def parse_entry(answer: str) -> Refusal | None:
    """Read one entry; None says that the queue is empty.

    Raises:
        AnswerFormError: not an entry of an error queue.
    """
    found = _ENTRY.fullmatch(answer)
    if found is None:
        raise AnswerFormError(f"“{plain(answer, 40)}” is no entry of an error queue")
    code = int(found[1])
    if code == 0:
        return None
    return Refusal(code, plain((found[2] or "").strip()) or STANDARD.get(code, ""))


NODES: Final = {
    Quantity.RESISTANCE: "RES",
    Quantity.VOLTAGE: "VOLT:DC",
    Quantity.CURRENT: "CURR:DC",
    Quantity.CONTINUITY: "CONT",
    Quantity.DIODE: "DIOD",
    Quantity.CAPACITANCE: "CAP",
    Quantity.FREQUENCY: "FREQ",
    Quantity.TEMPERATURE: "TEMP",
}


FOUR_WIRE: Final = "FRES"


RANGED: Final = frozenset({"RES", "FRES", "VOLT:DC", "CURR:DC", "CAP"})
"""Functions with a range."""


INTEGRATED: Final = frozenset({"RES", "FRES", "VOLT:DC", "CURR:DC", "TEMP"})
"""Functions with an integration time."""


def nodes_for(setup: MeterSetup) -> list[str]:
    """Return the functions that serve ``setup``, the best first."""
    node = NODES[setup.quantity]
    if setup.quantity is Quantity.RESISTANCE and setup.four_wire:
        return [FOUR_WIRE, node]
    return [node]


_NAMED: Final = {
    "RES": Quantity.RESISTANCE,
    "FRES": Quantity.RESISTANCE,
    "VOLT": Quantity.VOLTAGE,
    "CURR": Quantity.CURRENT,
    "CONT": Quantity.CONTINUITY,
    "DIOD": Quantity.DIODE,
    "CAP": Quantity.CAPACITANCE,
    "FREQ": Quantity.FREQUENCY,
    "TEMP": Quantity.TEMPERATURE,
}


def quantity_named(answer: str) -> tuple[Quantity, tuple[str, ...]] | None:
    """Return what an answer to ``FUNC?`` or ``CONF?`` names, and its flags; None for no quantity.

    Long and short forms alike; ``"VOLT:AC"`` is a voltage with the flag ``ac``.
    """
    words = function_name(answer).upper().split()
    nodes = words[0].strip("\"'").split(":") if words else []
    if nodes and nodes[0].startswith("SENS"):
        nodes = nodes[1:]
    if not nodes:
        return None
    if nodes[0].startswith("FRES"):
        return Quantity.RESISTANCE, ()
    quantity = _NAMED.get(nodes[0][:4]) or _NAMED.get(nodes[0][:3])
    if quantity is None:
        return None
    return quantity, ("ac",) if nodes[1:2] == ["AC"] else ()


def function_name(answer: str) -> str:
    """Return the name in an answer to ``FUNC?``, such as ``"RES"`` or ``RES``, without quotes."""
    return answer.strip().strip("\"'").strip()


def is_on(answer: str) -> bool:
    """Whether the answer to a query of something that can be on says so."""
    return answer.strip().upper() in ("1", "+1", "ON")


def is_entry(answer: bytes) -> bool:
    """Whether an answer is an entry of an error queue beyond doubt, and no late number."""
    try:
        text = answer_text(answer)
        parse_entry(text)
    except AnswerFormError:
        return False
    return "," in text or text.lstrip("+-") == "0" or text.startswith("-")
