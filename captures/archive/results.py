"""Answers as files: CSV, Parquet, and workbooks that a spreadsheet opens."""

import csv
import io
import math
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from captures.archive.tables import INSTALL
from captures.exchange.export import cell, new_file
from meterlink.errors import UsageError
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    import pyarrow

FORMATS: Final = ("csv", "parquet", "xlsx")

MOST_ROWS: Final = 1_048_576
"""Of a sheet (ECMA-376 gives cells by row and column; this is what programs take)."""

_WIDEST: Final = 40
"""Characters of a column, unless somebody makes it wider."""


def write_answer(answer: "pyarrow.Table", path: Path, kind: str) -> None:
    """Write ``answer`` to the new file ``path`` as one of ``FORMATS``.

    Raises:
        UsageError: the format needs what is not installed, or has no room for so many rows.
        CannotWriteError: the file exists or cannot be written; nothing of it is left.
    """
    if kind == "csv":
        with new_file(path) as raw, io.TextIOWrapper(raw, encoding="utf-8", newline="") as file:
            write_csv_answer(answer, file)
    elif kind == "parquet":
        from pyarrow import parquet

        with new_file(path) as file:
            parquet.write_table(answer, file, compression="zstd")
    else:
        _write_xlsx(answer, path)


def write_csv_answer(answer: "pyarrow.Table", file: IO[str]) -> None:
    """Write ``answer`` as RFC 4180 CSV with a header; ``file`` is opened with ``newline=""``."""
    table = csv.writer(file)
    table.writerow([plain(name) for name in answer.column_names])
    for row in rows_in(answer):
        table.writerow([cell(when(value)) for value in row])


def rows_in(answer: "pyarrow.Table") -> Iterator[tuple[Any, ...]]:
    """Yield the rows of ``answer``, a batch of them in memory at a time."""
    for batch in answer.to_batches():
        columns = (map(_usual, column.to_pylist()) for column in batch.columns)
        yield from zip(*columns, strict=True)


def _usual(value: Any) -> Any:
    """Return a decimal number, as sums of whole numbers come, as the usual kind of number."""
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    return value


def when(value: Any) -> Any:
    """Return a time as RFC 3339 writes it, in UTC; anything else as it is."""
    if isinstance(value, datetime):
        return f"{value.replace(tzinfo=None).isoformat(timespec='milliseconds')}Z"
    return value


def _write_xlsx(answer: "pyarrow.Table", path: Path) -> None:
    try:
        import xlsxwriter
    except ImportError as fault:
        raise UsageError(f"a workbook needs XlsxWriter; {INSTALL} brings it") from fault
    if answer.num_rows >= MOST_ROWS:
        raise UsageError(
            f"a sheet has no room for {answer.num_rows} rows; ask for fewer, "
            "or write CSV or Parquet"
        )
    options = {"in_memory": False, "constant_memory": True, "default_date_format": _DATES}
    with new_file(path) as file, xlsxwriter.Workbook(file, options) as book:
        sheet = book.add_worksheet("answer")
        bold = book.add_format({"bold": True})
        for column, name in enumerate(answer.column_names):
            sheet.set_column(column, column, min(_WIDEST, max(10, len(name) + 2)))
            sheet.write_string(0, column, plain(name), bold)
        for number, row in enumerate(rows_in(answer), start=1):
            for column, value in enumerate(row):
                _write_cell(sheet, number, column, value)
        sheet.freeze_panes(1, 0)
        sheet.autofilter(0, 0, answer.num_rows, max(0, answer.num_columns - 1))


_DATES: Final = "yyyy-mm-dd hh:mm:ss"


def _write_cell(sheet: Any, row: int, column: int, value: Any) -> None:
    """A text is a text, whatever it begins with: no formula, link or number is made of it."""
    match value:
        case None:
            return
        case bool():
            sheet.write_boolean(row, column, value)
        case int() | float() if math.isfinite(value) and abs(value) < 2**53:
            sheet.write_number(row, column, value)
        case datetime() if value.year >= 1900:
            sheet.write_datetime(row, column, value.replace(tzinfo=None))
        case _:
            sheet.write_string(row, column, plain(str(when(value)), 32_000))
