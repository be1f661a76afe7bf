"""What an unknown meter sent, and what its display showed meanwhile, as a person types it."""

import json
import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Final, NamedTuple

import msgspec

from drivers.links.link import LineSettings
from meterlink.errors import NotationError, UnreadableError
from meterlink.meter_state import MEANINGS
from meterlink.quantities.notation import find_unit
from meterlink.quantities.text import plain
from meterlink.quantities.window import OVER_WORDS
from meterlink.reading import Quantity

_NUMBER: Final = re.compile(r"([+-]?)\s*(\d+(?:[.,]\d+)?|[.,]\d+)")
_QUANTITIES: Final = {
    "ohm": Quantity.RESISTANCE,
    "volt": Quantity.VOLTAGE,
    "ampere": Quantity.CURRENT,
    "farad": Quantity.CAPACITANCE,
    "hertz": Quantity.FREQUENCY,
    "celsius": Quantity.TEMPERATURE,
}
_FLAG_WORDS: Final = {
    "low": "battery_low",
    "battery": "battery_low",
    "batt": "battery_low",
    "bat": "battery_low",
    "rel": "relative",
    "max": "maximum",
    "min": "minimum",
    "avg": "average",
    "manu": "manual",
}


class Display(NamedTuple):
    """One display."""

    text: str
    """As typed, made plain."""
    digits: str
    """Those before and behind the point, without it; empty over range."""
    decimals: int
    negative: bool
    over: bool
    unit: str
    """As typed, prefix and all."""
    quantity: Quantity
    factor: Decimal
    """SI units in one unit of the display."""
    flags: frozenset[str]

    @property
    def resolution(self) -> Decimal:
        """What one count of the last digit is worth, SI units."""
        return self.factor.scaleb(-self.decimals)

    @property
    def state(self) -> tuple[str, Decimal | None]:
        """What the frame must tell beside digits, sign and flags; over range the range is not."""
        return self.quantity.value, None if self.over else self.resolution


def parse_display(text: str) -> Display:
    """Read a typed display, such as ``0.842 ohm``, ``-12.40 V hold`` or ``OL Mohm``.

    Raises:
        NotationError: no number or overload, or no unit.
    """
    shown = plain(text.strip())
    found = _NUMBER.match(shown)
    if found:
        sign, number, rest = found[1], found[2].replace(",", "."), shown[found.end() :]
    else:
        word, _, rest = shown.partition(" ")
        sign, number = word[:1], ""
        if word.upper().lstrip("+-") not in OVER_WORDS:
            raise NotationError(f"“{shown}” is no display; type such as “0.842 ohm” or “OL Mohm”")
    words = rest.split()
    unit = find_unit(words[0]) if words else None
    if unit is None or unit.si not in _QUANTITIES or unit.offset:
        raise NotationError(f"“{shown}” has no unit that is known; type such as “0.842 ohm”")
    flags = set()
    for word in words[1:]:
        name = _FLAG_WORDS.get(word.lower(), word.lower())
        if name not in MEANINGS:
            known = ", ".join(sorted(MEANINGS))
            raise NotationError(f"“{word}” is no sign of a display known here; known are {known}")
        flags.add(name)
    whole, _, part = number.partition(".")
    return Display(
        shown,
        whole + part,
        len(part),
        sign == "-",
        not number,
        words[0],
        _QUANTITIES[unit.si],
        unit.factor,
        frozenset(flags),
    )


LARGEST: Final = 4 << 20
"""Bytes of a file of recordings that are read."""


class Recording(NamedTuple):
    """What came while one display stood still."""

    display: str
    """As typed."""
    bursts: tuple[bytes, ...]
    """Bytes that came together, with pauses between; one piece where no pauses are known."""


def as_lines(recordings: Sequence[Recording], line: LineSettings | None) -> bytes:
    """Return recordings as JSON lines, to be worked on later."""
    rows = [{"line": msgspec.to_builtins(line)}] if line is not None else []
    rows += [
        {"display": one.display, "hex": [burst.hex(" ") for burst in one.bursts]}
        for one in recordings
    ]
    return "".join(json.dumps(row) + "\n" for row in rows).encode()


def load_recordings(path: Path) -> tuple[list[Recording], LineSettings | None]:
    """Return what ``as_lines`` gave, from a file.

    Raises:
        UnreadableError: missing, or something else.
    """
    shown = plain(str(path))
    try:
        with path.open("rb") as file:
            rows = [msgspec.json.decode(row) for row in file.read(LARGEST).splitlines() if row]
        line = next((msgspec.convert(r["line"], LineSettings) for r in rows if "line" in r), None)
        made = [
            Recording(str(row["display"]), tuple(bytes.fromhex(part) for part in row["hex"]))
            for row in rows
            if "display" in row
        ]
        if not made:
            raise ValueError("no display")
    except OSError as fault:
        raise UnreadableError(f"{shown} cannot be read: {fault.strerror}") from fault
    except (msgspec.MsgspecError, KeyError, TypeError, ValueError, AttributeError) as fault:
        raise UnreadableError(
            f"{shown} is no recording; its lines are such as "
            '{"display": "0.842 ohm", "hex": ["2b 30 38 34 32"]}'
        ) from fault
    return made, line
