"""Readings and holds out to other programs: CSV by RFC 4180, and Parquet.

A CSV of readings is a plain readings file again (see ``plain``), with more columns. Parquet needs
pyarrow, which the extra ``parquet`` brings.
"""

import contextlib
import csv
import math
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final, TypeAlias

import msgspec

from captures.exchange.tables import HoldRow, ReadingRow
from meterlink.errors import CannotWriteError, UsageError
from meterlink.quantities.text import plain
from meterlink.quantities.window import INFINITY, NOT_A_NUMBER

if TYPE_CHECKING:
    import pyarrow

TableRow: TypeAlias = ReadingRow | HoldRow

_GROUP: Final = 65_536
"""Rows in memory at a time."""

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
"""What makes a spreadsheet take a text for a formula (common practice, no published source)."""


def write_csv(rows: Iterable[TableRow], kind: type[TableRow], file: IO[str]) -> int:
    """Write ``rows`` with a header; return how many. ``file`` is opened with ``newline=""``."""
    table = csv.writer(file)
    table.writerow(kind.__struct_fields__)
    count = 0
    for row in rows:
        table.writerow([_cell(value) for value in msgspec.structs.astuple(row)])
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
            "Parquet needs pyarrow; install meterlink with its extra «parquet»"
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


def _cell(value: object) -> object:
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
