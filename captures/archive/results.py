"""Answers as files: CSV, Parquet, and workbooks that a spreadsheet opens."""

import csv
import io
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from captures.exchange.export import cell, new_file, write_xlsx
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    import pyarrow

FORMATS: Final = ("csv", "parquet", "xlsx", "html")


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
        write_xlsx(answer.column_names, rows_in(answer), path)


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
