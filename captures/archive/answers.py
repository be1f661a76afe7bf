"""Answers to questions in SQL, through DuckDB with no way out of the data, and as files.

The engine sees the tables and nothing else: no file, no network, no extension, no variable of this
program, and what it may do cannot be changed from inside a question. An answer becomes CSV,
Parquet, a workbook, or a page for a browser: its table, and a picture where the question has one.
The page needs nothing from outside, has no script, and follows the light or dark of the reader.
"""

import contextlib
import csv
import io
import math
import re
import tempfile
from collections.abc import Iterable, Iterator
from datetime import datetime
from decimal import Decimal
from html import escape
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

from captures.archive.dataset import DataSet
from captures.archive.tables import INSTALL, TABLES, need_arrow
from captures.exchange.export import cell, new_file, write_xlsx
from meterlink.errors import UnreadableError, UsageError
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    import pyarrow

_MEMORY: Final = "1GB"
"""What does not fit is put into a folder of its own, which is gone afterwards."""

_LOCKED: Final = (
    "SET autoinstall_known_extensions = false",
    "SET autoload_known_extensions = false",
    "SET enable_external_access = false",
    "SET lock_configuration = true",
)
_READINGS: Final = re.compile(r"readings|query", re.IGNORECASE)
"""A name of the table, or a function that could put one together."""

_ONLY: Final = frozenset({"SELECT", "EXPLAIN"})


class AnswerPicture(NamedTuple):
    """Which columns of an answer make its picture."""

    kind: str
    """``spread``: from low to high with quartiles and a middle; ``bar``: one length."""
    label: tuple[str, ...]
    values: tuple[str, ...]
    """For a spread: low, first quartile, median, third quartile, high; for a bar: its length."""
    scale_by: tuple[str, ...] = ()
    """Rows that agree in these share a scale, so that they can be compared."""
    limits: tuple[str, ...] = ()
    """Columns of the limits to mark in a spread."""


_OF_THE_QUESTION: Final = re.compile(r"(?!IO |Invalid Error)(?:\w+ )+Error: ")
"""How DuckDB begins to say what is wrong, unless it is with the data's files."""

Answer: TypeAlias = "pyarrow.Table | pyarrow.RecordBatchReader"
"""The second is read once, and never whole in memory."""


class Asker:
    """A data set that can be asked. Make one with ``asking``."""

    def __init__(self, engine: Any, data: DataSet) -> None:
        self._engine = engine
        self.data = data

    def ask(self, sql: str) -> "pyarrow.Table":
        """Return the answer to one question in SQL; errors as for ``stream``."""
        return self.stream(sql).read_all()

    def stream(self, sql: str) -> "pyarrow.RecordBatchReader":
        """Return the answer to one question in SQL, to be read once, a batch at a time.

        Raises:
            UsageError: it is no question, or more than one, or asks for what is not there; this
                and the next may come while the answer is read, too.
            UnreadableError: the data cannot be read.
        """
        import pyarrow

        with self._faults():
            statements = self._engine.extract_statements(sql)
            if len(statements) != 1 or statements[0].type.name not in _ONLY:
                raise UsageError("ask one question at a time, which begins with SELECT or WITH")
            answer = pyarrow.RecordBatchReader.from_stream(self._engine.sql(sql))
        return pyarrow.RecordBatchReader.from_batches(answer.schema, self._batches(answer))

    def _batches(self, answer: "pyarrow.RecordBatchReader") -> "Iterator[pyarrow.RecordBatch]":
        with self._faults():
            yield from answer

    @contextlib.contextmanager
    def _faults(self) -> Iterator[None]:
        """Say the engine's faults in our own errors."""
        import duckdb
        import pyarrow

        try:
            yield
        except (duckdb.Error, pyarrow.ArrowException) as fault:
            raise UsageError(_said(fault)) from fault
        except OSError as fault:
            if _OF_THE_QUESTION.match(str(fault)):  # while rows are read, all faults come so
                raise UsageError(_said(fault)) from fault
            raise UnreadableError(
                f"{self.data.name} cannot be read: {plain(str(fault))}"
            ) from fault


def may_need_readings(sql: str) -> bool:
    """Whether a question may look at the readings, which take longest to bring in."""
    return _READINGS.search(sql) is not None


@contextlib.contextmanager
def asking(data: DataSet) -> Iterator[Asker]:
    """Yield what answers questions to ``data``.

    Raises:
        UsageError: DuckDB or pyarrow is missing.
        UnreadableError: the data cannot be read.
    """
    _need_duckdb()
    import duckdb

    with (
        tempfile.TemporaryDirectory(prefix="meterlink-asking-") as spill,
        duckdb.connect(":memory:", config={"memory_limit": _MEMORY}) as engine,
    ):
        engine.execute("SET temp_directory = $1", [spill])
        replaced = _replaced(data)
        engine.register("_replaced", replaced)
        for name in TABLES:
            engine.register(f"_{name}", data.table(name))
            engine.execute(f"CREATE VIEW {name} AS {_newest(name, replaced.num_rows)}")
        for command in _LOCKED:
            engine.execute(command)
        yield Asker(engine, data)


def _newest(name: str, replaced: int) -> str:
    """Return the rows of a table without those of jobs that were brought in again later."""
    everything = f"SELECT * FROM _{name}"  # noqa: S608  # a name from our own list
    if not replaced:
        return everything
    return f"{everything} ANTI JOIN _replaced USING (record_id, batch)"


def _replaced(data: DataSet) -> "pyarrow.Table":
    """Return each job and batch whose rows a later batch of the same job replaces."""
    import pyarrow

    rows = data.table("jobs").to_table(columns=["record_id", "batch"]).to_pylist()
    newest: dict[str, str] = {}
    for row in rows:
        job = row["record_id"]
        newest[job] = max(newest.get(job, ""), row["batch"])
    old = [row for row in rows if row["batch"] != newest[row["record_id"]]]
    text = pyarrow.string()
    return pyarrow.Table.from_pylist(
        old, schema=pyarrow.schema([("record_id", text), ("batch", text)])
    )


def _need_duckdb() -> None:
    need_arrow()
    try:
        import duckdb  # noqa: F401
    except ImportError as fault:
        raise UsageError(f"questions need DuckDB; {INSTALL} brings it") from fault


def _said(fault: Exception) -> str:
    """Return DuckDB's own words on one line, without the drawing of where in the question."""
    lines = [line.strip() for line in str(fault).splitlines() if line.strip()]
    kept = [line for line in lines if not line.startswith(("LINE ", "^"))]
    return plain(f"the question cannot be answered: {' '.join(kept)}", 400)


FORMATS: Final = ("csv", "parquet", "xlsx", "html")


def write_answer(answer: Answer, path: Path, kind: str) -> int:
    """Write ``answer`` to the new file ``path`` as CSV, Parquet or a workbook; return its rows.

    Raises:
        UsageError: the format needs what is not installed, or has no room for so many rows.
        CannotWriteError: the file exists or cannot be written; nothing of it is left.
    """
    if kind == "csv":
        with new_file(path) as raw, io.TextIOWrapper(raw, encoding="utf-8", newline="") as file:
            return write_csv_answer(answer, file)
    if kind == "parquet":
        from pyarrow import parquet

        count = 0
        with (
            new_file(path) as sink,
            parquet.ParquetWriter(sink, answer.schema, compression="zstd") as writer,
        ):
            for batch in _batches_of(answer):
                writer.write_batch(batch)
                count += batch.num_rows
        return count
    return write_xlsx(answer.schema.names, rows_in(answer), path)


def write_csv_answer(answer: Answer, file: IO[str]) -> int:
    """Write ``answer`` as RFC 4180 CSV with a header, and return its rows.

    ``file`` is opened with ``newline=""``.
    """
    table = csv.writer(file)
    table.writerow([plain(name) for name in answer.schema.names])
    count = 0
    for row in rows_in(answer):
        table.writerow([cell(when(value)) for value in row])
        count += 1
    return count


def _batches_of(answer: Answer) -> "Iterable[pyarrow.RecordBatch]":
    """Return the batches of a table, or of an answer that is read once."""
    import pyarrow

    return answer.to_batches() if isinstance(answer, pyarrow.Table) else answer  # type: ignore[no-any-return]


def rows_in(answer: Answer) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of ``answer``, a batch of them in memory at a time."""
    for batch in _batches_of(answer):
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


_WIDTH: Final = 640
_LABEL: Final = 280
_ROW: Final = 22
_STYLE: Final = """
:root { color-scheme: light dark; font: 16px/1.4 sans-serif; }
body { margin: 1.5rem; } svg { max-width: 100%; height: auto; }
table { border-collapse: collapse; margin-top: 1rem; }
th, td { padding: .2rem .6rem; border-bottom: 1px solid; text-align: left; }
td.number { text-align: right; font-variant-numeric: tabular-nums; }
text { fill: currentColor; font-size: 13px; }
line { stroke: currentColor; stroke-width: 1.5; } line.limit { stroke-dasharray: 3 3; }
rect { fill: currentColor; fill-opacity: .25; stroke: currentColor; }
"""


def page_of(answer: "pyarrow.Table", title: str, drawing: "AnswerPicture | None" = None) -> str:
    """Return ``answer`` as an HTML page; with ``drawing``, the picture above the table."""
    heading = escape(plain(title, 400))
    picture = "" if drawing is None or not answer.num_rows else _picture(answer, drawing)
    names = "".join(f'<th scope="col">{escape(plain(name))}</th>' for name in answer.column_names)
    rows = "".join(f"<tr>{''.join(map(_cell, row))}</tr>\n" for row in rows_in(answer))
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{heading}</title>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>{_STYLE}</style></head>\n<body><h1>{heading}</h1>\n{picture}\n"
        f"<table><thead><tr>{names}</tr></thead><tbody>\n{rows}</tbody></table></body></html>\n"
    )


def ends_of(rows: list[dict[str, Any]], drawing: "AnswerPicture") -> tuple[float, float]:
    """Return where the scale of ``rows`` begins and ends; bars begin at zero."""
    found = [row[name] for row in rows for name in (*drawing.values, *drawing.limits)]
    values = [float(v) for v in found if _is_drawn(v)] or [0.0]
    return (0.0 if drawing.kind == "bar" else min(values)), max(values)


def rows_alike(
    rows: list[dict[str, Any]], row: dict[str, Any], drawing: "AnswerPicture"
) -> list[dict[str, Any]]:
    """Return the rows that share a scale with ``row``."""
    return [r for r in rows if all(r[name] == row[name] for name in drawing.scale_by)]


def shown(value: Any) -> str:
    """Return a value in words, six significant digits at most."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:.6g}"
    return plain(str(when(value)), 400)


def _is_drawn(value: Any) -> bool:
    return value is not None and math.isfinite(value)


def _cell(value: Any) -> str:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    opening = '<td class="number">' if number else "<td>"
    return f"{opening}{escape(shown(value))}</td>"


def _picture(answer: "pyarrow.Table", drawing: "AnswerPicture") -> str:
    rows = answer.to_pylist()
    height = _ROW * len(rows) + 4
    said = ", ".join(name.replace("_", " ") for name in (*drawing.values, *drawing.limits))
    parts = [
        f'<svg viewBox="0 0 {_LABEL + _WIDTH + 90} {height}" role="img" '
        f'aria-label="{escape(said)}; the table has the figures">'
    ]
    for number, row in enumerate(rows):
        low, high = ends_of(rows_alike(rows, row, drawing), drawing)
        label = " ".join(shown(row[name]) for name in drawing.label)
        parts.append(f'<g transform="translate(0 {number * _ROW + 2})">')
        parts.append(f'<text x="0" y="15">{escape(plain(label, 42))}</text>')
        parts += _marks(row, drawing, low, high)
        parts.append("</g>")
    return "".join([*parts, "</svg>"])


def _marks(row: dict[str, Any], drawing: "AnswerPicture", low: float, high: float) -> Iterator[str]:
    def x(value: float) -> float:
        share = (value - low) / (high - low) if high > low else 0.5
        return round(_LABEL + share * _WIDTH, 1)

    values = [row[name] if _is_drawn(row[name]) else None for name in drawing.values]
    if drawing.kind == "bar":
        if (value := values[0]) is not None:
            yield f'<rect x="{_LABEL}" y="4" width="{x(value) - _LABEL:.1f}" height="12"/>'
            yield f'<text x="{x(value) + 6}" y="15">{escape(shown(value))}</text>'
        return
    least, box, middle, box_end, most = values
    if least is not None and most is not None:
        yield f'<line x1="{x(least)}" x2="{x(most)}" y1="10" y2="10"/>'
    if box is not None and box_end is not None:
        yield f'<rect x="{x(box)}" y="4" width="{x(box_end) - x(box):.1f}" height="12"/>'
    for name in drawing.limits:
        if _is_drawn(row[name]):
            at = x(row[name])
            yield f'<line class="limit" x1="{at}" x2="{at}" y1="0" y2="20"/>'
    if middle is not None:
        yield f'<line x1="{x(middle)}" x2="{x(middle)}" y1="3" y2="17"/>'
