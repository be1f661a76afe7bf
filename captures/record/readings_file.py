"""Readings out of a file, a capture or a plain one, as a source: as a live meter to the engine.

A plain readings file is what other programs and people can write with a spreadsheet: RFC 4180 CSV
in UTF-8 with the header ``t_s,value,unit`` and, if need be, ``overload``; the unit a resistance or
a voltage. ``OL``, 9.9E37 or ``overload`` = 1 is an over range; 9.91E37 is not-a-number and is
dropped and counted. Semicolons between columns go with decimal commas, as spreadsheets write them
where the comma is the decimal sign. A column of values alone holds resistances, read twice a
second.
"""

import csv
import itertools
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NoReturn

from captures.record.files import open_regular
from captures.record.reader import RecordReader
from captures.record.records import Header
from meterlink.errors import NotationError, UnreadableError
from meterlink.events import Event, MeterSet
from meterlink.meter_state import setting_of
from meterlink.quantities.notation import Unit, find_unit, parse_quantity
from meterlink.quantities.text import plain
from meterlink.quantities.window import real_value
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop

UNITS: Final = {"ohm": Quantity.RESISTANCE, "volt": Quantity.VOLTAGE}
PACE_S: Final = 0.5
"""Seconds from one value to the next in a file without times: a display that can be written down
changes about twice a second (common practice, no published source)."""
COLUMNS: Final = ("t_s", "value", "unit")
OVERLOAD: Final = "overload"

_LONGEST_LINE: Final = 4096
"""Bytes. A line of numbers comes nowhere near it, whatever else is in the file may."""

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
        self._line = self._count = 0
        self._units: dict[str, tuple[Quantity, float]] = {}
        """Quantity and factor of each spelling of a unit that was met."""
        self._file = open_regular(path)
        try:
            self._mark = self._find_mark()
            self._rows: Iterator[list[str]] = csv.reader(
                self._lines(), strict=True, delimiter=self._mark
            )
            first = self._next_row() or []
            self._names = [name.strip().lower() for name in first]
            self._alone = len(first) == 1 and self._names != [COLUMNS[0]]
            """Whether there is but one column, of values."""
            if self._alone and self._names[0] != "value":
                self._rows = itertools.chain([first], self._rows)  # it is a value itself
            self._at = (0, 0, 0, None) if self._alone else self._columns()
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

    def _find_mark(self) -> str:
        """Return what parts the columns: it stands in the first line."""
        first = self._file.readline(_LONGEST_LINE)
        self._file.seek(0)
        return next((mark for mark in ";\t" if mark.encode() in first), ",")

    def _columns(self) -> tuple[int, int, int, int | None]:
        """Return where time, value, unit and overload stand."""
        missing = [name for name in COLUMNS if name not in self._names]
        if missing:
            self.refuse(f"there is no column {missing[0]}; expected {','.join(COLUMNS)}", 1)
        t, value, unit = (self._names.index(name) for name in COLUMNS)
        return t, value, unit, self._names.index(OVERLOAD) if OVERLOAD in self._names else None

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
        if self._alone:
            if len(row) != 1:
                self.refuse(f"there are {len(row)} fields; expected one value")
            self._count += 1
            value, quantity = self._value(row[0], "ohm")
            return self._made((self._count - 1) * PACE_S, value, quantity, row[0])
        at_t, at_value, at_unit, at_overload = self._at
        try:
            t_text, text, unit = row[at_t], row[at_value], row[at_unit].strip()
            flag = row[at_overload].strip() if at_overload is not None else ""
        except IndexError:
            self.refuse(f"there are {len(row)} fields; expected {len(self._names)}")
        over = _FLAGS.get(flag.lower())
        if over is None:
            self.refuse(f"overload is {plain(flag, 20)!r}; expected 0 or 1")
        try:
            t = float(self._with_point(t_text))
        except ValueError:
            self.refuse(f"t_s is {plain(t_text, 20)!r}; expected a number of seconds")
        if not math.isfinite(t):
            self.refuse("t_s is no time in seconds")
        if over:
            return self._made(t, math.inf, self._unit(unit)[0], text)
        return self._made(t, *self._value(text, unit), text)

    @staticmethod
    def _made(t: float, value: float, quantity: Quantity, text: str) -> Reading:
        raw = plain(text.strip(), 40)
        if math.isinf(value):
            return Reading(t, math.inf, quantity, overload=True, raw=raw)
        return Reading(t, value, quantity, raw=raw)

    def _value(self, text: str, unit: str) -> tuple[float, Quantity]:
        """Return a value in its SI unit, infinite for an over range, and what was measured."""
        quantity, factor = self._unit(unit)
        written = self._with_point(text)
        try:
            return real_value(float(written)) * factor, quantity
        except ValueError:
            pass  # it is no number alone: OL, or one with its unit
        try:
            value = parse_quantity(written, unit)
        except NotationError as fault:
            self.refuse(f"value: {fault}")
        if value.unit not in UNITS:
            self.refuse(f"value {plain(text, 20)!r} is neither ohm nor volt")
        return value.value, UNITS[value.unit]

    def _unit(self, written: str) -> tuple[Quantity, float]:
        """Return what ``written``, such as ``ohm`` or ``kohm``, measures, and its factor."""
        if (known := self._units.get(written)) is not None:
            return known
        unit = Unit(written) if written in UNITS else find_unit(written)
        if unit is None or unit.si not in UNITS:
            self.refuse(f"unit is {plain(written, 20)!r}; expected ohm, kohm, Mohm or volt")
        known = UNITS[unit.si], float(unit.factor)
        self._units[written] = known
        return known

    def _with_point(self, text: str) -> str:
        """Return a field with a point for the decimal comma that goes with semicolons."""
        return text.replace(",", ".", 1) if self._mark == ";" else text

    def refuse(self, why: str, line: int = 0) -> NoReturn:
        """Raise the error that names file and line."""
        raise UnreadableError(f"{self.name} line {line or self._line}: {why}")


class RecordSource:
    """The readings of one capture or plain readings file, as fast as they can be read.

    Implements ``meterlink.source.Source``.
    """

    def __init__(self, reader: RecordReader | PlainReader) -> None:
        self._reader = reader
        self._setting = _setting_of(self.header)

    @property
    def header(self) -> Header | None:
        """The capture's header; None for a plain readings file."""
        return self._reader.header if isinstance(self._reader, RecordReader) else None

    @property
    def identity(self) -> Identity:
        """The meter that the record names; for a plain file only the file's name."""
        header = self.header
        if header is not None and header.meter is not None:
            return header.meter
        return Identity(port=self._reader.name)

    @property
    def dropped(self) -> int:
        """How many not-a-numbers of a plain file were passed over so far."""
        return self._reader.dropped if isinstance(self._reader, PlainReader) else 0

    @property
    def damaged(self) -> int:
        """How many lines of a capture could not be read so far."""
        return self._reader.damaged if isinstance(self._reader, RecordReader) else 0

    @property
    def line(self) -> int:
        """Number of the line of a capture that was read last; 0 in a plain readings file."""
        return self._reader.line if isinstance(self._reader, RecordReader) else 0

    def prepare(self, setup: MeterSetup) -> Setting:
        """Return what the meter was set to; a record cannot be set."""
        return self._setting

    def confirm(self, setup: MeterSetup) -> Setting:
        """As ``prepare``: a record cannot be asked."""
        return self._setting

    def readings(self, stop: Stop) -> Iterator[Reading]:
        """Yield the readings, oldest first, until ``stop`` or the end.

        Raises:
            UnreadableError: a line of a plain file makes no sense, or the medium fails.
        """
        for record in self.records():
            if stop.is_set():
                return
            if isinstance(record, Reading):
                yield record

    def records(self) -> Iterator[Reading | Event]:
        """Yield readings and events, oldest first; errors as for ``readings``."""
        for record in self._reader:
            if isinstance(record, MeterSet):
                self._setting = setting_of(record)
            yield record

    def close(self) -> None:
        """Let go of the file. Safe to call twice."""
        self._reader.close()


def open_readings(path: Path) -> RecordSource:
    """Open a capture or a plain readings file, whichever ``path`` is.

    Raises:
        UnreadableError: missing, or neither of the two.
    """
    with open_regular(path) as file:
        start = file.read(1)
    return RecordSource(RecordReader(path) if start == b"{" else PlainReader(path))


def _setting_of(header: Header | None) -> Setting:
    return header.setting if header is not None and header.setting is not None else Setting()
