"""What an instrument's error queue says. No I/O.

``SYSTem:ERRor[:NEXT]?`` answers ``number,"description[;device info]"`` (SCPI-1999 volume 2,
21.8); 0 is an empty queue. Numbers from -100 to -499 are the standard's own, positive ones the
maker's.
"""

import re
from typing import Final

import msgspec

from drivers.scpi.blocks import AnswerFormError
from meterlink.quantities.text import plain

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
        raise AnswerFormError(f"«{plain(answer, 40)}» is no entry of an error queue")
    code = int(found[1])
    if code == 0:
        return None
    return Refusal(code, plain((found[2] or "").strip()) or STANDARD.get(code, ""))
