"""Tables out to other programs: CSV by RFC 4180, Parquet, and workbooks of a spreadsheet.

A CSV of readings is a plain readings file again (see ``readings_file``), with more columns.
Parquet needs pyarrow, which the extra ``parquet`` brings; workbooks need XlsxWriter, which
``archive`` brings.
"""

import contextlib
import csv
import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final, TypeAlias

import msgspec

from captures.record.reader import read_capture
from meterlink.errors import CannotWriteError, UsageError
from meterlink.events import Event, Held, Judged, Lift, StepBegan
from meterlink.quantities.text import plain
from meterlink.quantities.window import INFINITY, NOT_A_NUMBER
from meterlink.reading import Reading

if TYPE_CHECKING:
    import pyarrow


class ReadingRow(msgspec.Struct, frozen=True, gc=False):
    """One reading. The first columns are those of a plain readings file."""

    t_s: float
    value: float
    """SI units; infinite for an over range, not-a-number where the meter sent that."""
    unit: str
    overload: bool
    resolution: float | None
    quantity: str
    raw: str
    capture: str
    """Name of the capture's file."""
    record: str
    """``whole``, ``open``, ``cut`` or ``altered``: what a check of the capture found."""
    after_damage: bool
    """It stands at or after the line where an altered capture is damaged."""


class HoldRow(msgspec.Struct, kw_only=True):
    """One hold, or an open that was judged without one. Empty is None throughout."""

    capture: str
    step: str | None = None
    position: str | None = None
    """Of a switch."""
    contact_t_s: float
    t_s: float
    """When it was held, or judged."""
    lift_t_s: float | None = None
    value: float | None
    """As read, steadied."""
    unit: str
    readings: int
    noise: float
    resolution: float
    corrected: float | None = None
    u: float | None = None
    """Expanded, 95 %."""
    verdict: str | None = None
    probability: float | None = None
    clear: bool | None = None
    evidence: str | None = None
    """How it is known that the probes touched, where the verdict is open."""
    record: str = ""
    """As for a reading."""
    after_damage: bool = False


def reading_rows(
    path: Path, record: str = "", first_bad_line: int | None = None
) -> Iterator[ReadingRow]:
    """Yield a row for every reading of a capture, oldest first.

    ``record`` and ``first_bad_line`` are what a check of the capture found.

    Raises:
        UnreadableError: it is no capture.
    """
    name = path.name
    with read_capture(path) as capture:
        for found in capture:
            if isinstance(found, Reading):
                yield ReadingRow(
                    found.t,
                    found.value,
                    found.quantity.unit,
                    found.overload,
                    found.resolution,
                    found.quantity.value,
                    found.raw,
                    name,
                    record,
                    first_bad_line is not None and capture.line >= first_bad_line,
                )


def hold_rows(path: Path, record: str = "", first_bad_line: int | None = None) -> Iterator[HoldRow]:
    """Yield a row for every hold and verdict of a capture, in the order of their touches.

    ``record`` and ``first_bad_line`` are what a check of the capture found.

    Raises:
        UnreadableError: it is no capture.
    """
    with read_capture(path) as capture:
        events = (found for found in capture if isinstance(found, Event))
        for row in join_holds(events, path.name):
            row.record = record
            row.after_damage = first_bad_line is not None and capture.line >= first_bad_line
            yield row


def join_holds(events: Iterable[Event], capture: str) -> Iterator[HoldRow]:
    """Bring hold, verdicts and lift of one touch together; rows wait until their touch ends."""
    step: str | None = None
    waiting: list[HoldRow] = []
    for event in events:
        match event:
            case StepBegan():
                step = event.step
            case Held():
                waiting.append(_row_of(event, capture, step))
            case Judged():
                _judge(event, capture, waiting)
            case Lift():
                for row in waiting:
                    if row.contact_t_s == event.contact_t:
                        row.lift_t_s = event.t
                yield from waiting
                waiting = []
    yield from waiting


def _row_of(event: Held | Judged, capture: str, step: str | None = None) -> HoldRow:
    return HoldRow(
        capture=capture,
        step=step,
        contact_t_s=event.contact_t,
        t_s=event.t,
        value=event.value,
        unit=event.unit,
        readings=event.readings,
        noise=event.noise,
        resolution=event.resolution,
    )


def _judge(event: Judged, capture: str, waiting: list[HoldRow]) -> None:
    """Give the verdict to the hold that it is about; an open has none and gets its own row."""
    for row in reversed(waiting):
        about = row.contact_t_s == event.contact_t and row.value == event.value
        if about and row.verdict is None:
            break
    else:
        row = _row_of(event, capture)
        waiting.append(row)
    row.step, row.position = event.step, event.position or None
    row.corrected, row.u = event.corrected, event.u
    row.verdict, row.probability, row.clear = event.verdict.value, event.probability, event.clear
    row.evidence = None if event.evidence is None else event.evidence.value


TableRow: TypeAlias = ReadingRow | HoldRow

_GROUP: Final = 65_536
"""Rows in memory at a time."""

MOST_ROWS: Final = 1_048_576
"""Rows of a sheet, its heading among them."""
_LONGEST_CELL: Final = 32_000
"""Characters; a cell takes 32,767 (common practice of spreadsheets)."""
_EXACT: Final = 2**53
"""Numbers beyond this are no longer exact in a sheet, which has binary64 only."""

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
"""What makes a spreadsheet take a text for a formula (common practice, no published source)."""


def write_csv(rows: Iterable[TableRow], kind: type[TableRow], file: IO[str]) -> int:
    """Write ``rows`` with a header; return how many. ``file`` is opened with ``newline=""``."""
    table = csv.writer(file)
    table.writerow(kind.__struct_fields__)
    count = 0
    for row in rows:
        table.writerow([cell(value) for value in msgspec.structs.astuple(row)])
        count += 1
    return count


def write_parquet(rows: Iterable[TableRow], kind: type[TableRow], path: Path) -> int:
    """Write ``rows`` to the new file ``path``; return how many.

    Raises:
        UsageError: pyarrow is not installed.
        CannotWriteError: the file exists or cannot be written; nothing of it is left.
    """
    try:
        import pyarrow.parquet
    except ImportError as fault:
        raise UsageError(
            "Parquet needs pyarrow; install meterlink with its extra “parquet”"
        ) from fault
    schema = _schema(kind)
    rows = iter(rows)
    count = 0
    with (
        new_file(path) as file,
        pyarrow.parquet.ParquetWriter(file, schema, compression="zstd") as writer,
    ):
        for group in _groups(rows):
            columns = zip(*(msgspec.structs.astuple(row) for row in group), strict=True)
            arrays = [
                pyarrow.array(column, field.type)
                for column, field in zip(columns, schema, strict=True)
            ]
            writer.write_table(pyarrow.Table.from_arrays(arrays, schema=schema))
            count += len(group)
    return count


def write_xlsx(names: Sequence[str], rows: Iterable[Iterable[object]], path: Path) -> int:
    """Write ``rows`` under ``names`` to the new workbook ``path``; return how many.

    Raises:
        UsageError: XlsxWriter is not installed, or a sheet has no room for so many rows.
        CannotWriteError: the file exists or cannot be written; nothing of it is left.
    """
    try:
        import xlsxwriter
    except ImportError as fault:
        raise UsageError(
            "a workbook needs XlsxWriter; pip install 'meterlink[archive]' brings it"
        ) from fault
    count = 0
    options = {"constant_memory": True, "default_date_format": "yyyy-mm-dd hh:mm:ss"}
    with new_file(path) as file, xlsxwriter.Workbook(file, options) as book:
        sheet = book.add_worksheet("meterlink")
        bold = book.add_format({"bold": True})
        for column, name in enumerate(names):
            sheet.set_column(column, column, max(10, len(name) + 2))
            sheet.write_string(0, column, plain(name), bold)
        for count, row in enumerate(rows, start=1):
            if count >= MOST_ROWS:
                raise UsageError(
                    f"a sheet has no room for more than {MOST_ROWS - 1} rows; "
                    "take fewer, or write CSV or Parquet"
                )
            for column, value in enumerate(row):
                _write_cell(sheet, count, column, value)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, count, max(0, len(names) - 1))
    return count


def _write_cell(sheet: Any, row: int, column: int, value: object) -> None:
    """A text is a text, whatever it begins with: no formula, link or number is made of it."""
    match value:
        case None:
            return
        case bool():
            sheet.write_boolean(row, column, value)
        case int() | float() if math.isfinite(value) and abs(value) < _EXACT:
            sheet.write_number(row, column, value)
        case datetime() if value.year >= 1900:
            sheet.write_datetime(row, column, value.replace(tzinfo=None))
        case _:
            sheet.write_string(row, column, plain(str(value), _LONGEST_CELL))


@contextlib.contextmanager
def new_file(path: Path) -> Iterator[IO[bytes]]:
    """Yield the new file ``path`` to write to; of one that could not be written nothing is left.

    Raises:
        CannotWriteError: it exists already, cannot be made, or its disk is full.
    """
    try:
        file = path.open("xb")
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or "no such name is possible"
        raise CannotWriteError(f"{plain(str(path))} cannot be made: {why}") from fault
    try:
        with file:
            yield file
    except BaseException as fault:
        path.unlink(missing_ok=True)
        if isinstance(fault, OSError):
            raise CannotWriteError(
                f"{plain(str(path))} cannot be written: {fault.strerror or fault}"
            ) from fault
        raise


def _groups(rows: Iterator[TableRow]) -> Iterator[list[TableRow]]:
    while group := list(islice(rows, _GROUP)):
        yield group


def cell(value: object) -> object:
    """Return a value as a cell of CSV: nothing that a spreadsheet takes for a formula."""
    match value:
        case None:
            return ""
        case bool():
            return int(value)
        case float() if math.isnan(value):
            return NOT_A_NUMBER
        case float() if math.isinf(value):
            return math.copysign(INFINITY, value)
        case float():
            return repr(value)
        case str():
            text = plain(value, len(value))
            formula = text.startswith(_FORMULA) and not _is_number(text)
            return f"'{text}" if formula else text
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _schema(kind: type[TableRow]) -> "pyarrow.Schema":
    import pyarrow

    types: dict[Any, pyarrow.DataType] = {
        float: pyarrow.float64(),
        bool: pyarrow.bool_(),
        int: pyarrow.int64(),
        str: pyarrow.string(),
    }
    fields = []
    for field in msgspec.structs.fields(kind):
        given = getattr(field.type, "__args__", (field.type,))
        [base] = [part for part in given if part is not type(None)]
        fields.append(pyarrow.field(field.name, types[base], nullable=len(given) > 1))
    return pyarrow.schema(fields)
