"""Plain readings files: what other programs and people can write with a spreadsheet.

RFC 4180 CSV in UTF-8 with the header ``t_s,value,unit`` and, if need be, ``overload``; unit
``ohm`` or ``volt``. 9.9E37 or ``overload`` = 1 is an over range; 9.91E37 is not-a-number and
is dropped and counted.
"""

import csv
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NoReturn

from captures.record.reader import open_regular
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain
from meterlink.quantities.window import real_value
from meterlink.reading import Quantity, Reading

UNITS: Final = {"ohm": Quantity.RESISTANCE, "volt": Quantity.VOLTAGE}
COLUMNS: Final = ("t_s", "value", "unit")
OVERLOAD: Final = "overload"

_LONGEST_LINE: Final = 4096
"""Bytes. A line of numbers comes nowhere near it, whatever else is in the file may."""

_OVER_RANGE: Final = ", and 9.9E37 for an over range"

_FLAGS: Final = {"1": True, "true": True, "0": False, "false": False, "": False}


class PlainReader:
    """The readings of one plain file, in order. Iterate once; close it."""

    def __init__(self, path: Path) -> None:
        """Open ``path`` and read its column names.

        Raises:
            UnreadableError: missing, or the columns are not there.
        """
        self.path = path
        self.name = plain(str(path))
        self.dropped = 0
        """How many not-a-numbers were passed over."""
        self._line = 0
        self._file = open_regular(path)
        try:
            self._rows = csv.reader(self._lines(), strict=True)
            self._names = self._read_names()
            t, value, unit = (self._names.index(name) for name in COLUMNS)
            overload = self._names.index(OVERLOAD) if OVERLOAD in self._names else None
            self._at = (t, value, unit, overload)
        except BaseException:
            self._file.close()
            raise

    def close(self) -> None:
        """Let go of the file. Safe to call twice."""
        self._file.close()

    def __iter__(self) -> Iterator[Reading]:
        """Yield readings, oldest first.

        Raises:
            UnreadableError: names the line that makes no sense, and what was expected.
        """
        while (row := self._next_row()) is not None:
            if not row:
                continue
            reading = self._reading(row)
            if math.isnan(reading.value):
                self.dropped += 1
            else:
                yield reading

    def _lines(self) -> Iterator[str]:
        """Yield lines for ``csv``, never one that would fill the memory."""
        encoding = "utf-8-sig"  # spreadsheets put a mark before the first column's name
        while line := self._file.readline(_LONGEST_LINE):
            self._line += 1
            if len(line) == _LONGEST_LINE and not line.endswith(b"\n"):
                self.refuse(f"it is longer than {_LONGEST_LINE} bytes")
            yield line.decode(encoding)
            encoding = "utf-8"

    def _read_names(self) -> list[str]:
        names = [name.strip() for name in self._next_row() or ()]
        missing = [name for name in COLUMNS if name not in names]
        if missing:
            self.refuse(f"there is no column {missing[0]}; expected {','.join(COLUMNS)}", 1)
        return names

    def _next_row(self) -> list[str] | None:
        try:
            return next(self._rows, None)
        except csv.Error as fault:
            why, _, _ = str(fault).partition(" - ")  # what follows is for programmers
            self.refuse(f"it is not CSV ({why})")
        except UnicodeDecodeError:
            self.refuse("it is not UTF-8")
        except OSError as fault:
            self.refuse(f"it cannot be read ({fault.strerror})")

    def _reading(self, row: list[str]) -> Reading:
        at_t, at_value, at_unit, at_overload = self._at
        try:
            t_text, text, unit = row[at_t], row[at_value], row[at_unit].strip()
            flag = row[at_overload].strip() if at_overload is not None else ""
        except IndexError:
            self.refuse(f"there are {len(row)} fields; expected {len(self._names)}")
        quantity = UNITS.get(unit)
        if quantity is None:
            self.refuse(f"unit is {plain(unit, 20)!r}; expected ohm or volt")
        over = _FLAGS.get(flag.lower())
        if over is None:
            self.refuse(f"overload is {plain(flag, 20)!r}; expected 0 or 1")
        t = self._number("t_s", t_text)
        if not math.isfinite(t):
            self.refuse("t_s is no time in seconds")
        value = math.inf if over else real_value(self._number("value", text, _OVER_RANGE))
        if math.isinf(value):
            return Reading(t, math.inf, quantity, overload=True, raw=plain(text.strip(), 40))
        return Reading(t, value, quantity, raw=plain(text.strip(), 40))

    def _number(self, column: str, text: str, mend: str = "") -> float:
        try:
            return float(text)
        except ValueError:
            self.refuse(f"{column} is {plain(text, 20)!r}; expected a number{mend}")

    def refuse(self, why: str, line: int = 0) -> NoReturn:
        """Raise the error that names file and line."""
        raise UnreadableError(f"{self.name} line {line or self._line}: {why}")
