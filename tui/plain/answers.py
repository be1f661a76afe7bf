"""Answers to questions as text: a table, and a picture that any terminal shows."""

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from meterlink.quantities.text import plain

if TYPE_CHECKING:
    import pyarrow

    from captures.archive.answers import AnswerPicture

LONGEST: Final = 60
"""Characters of a cell; longer ones are cut."""
COLUMNS: Final = 49
"""Width of a picture between its ends."""


def table_lines(answer: "pyarrow.Table") -> Iterator[str]:
    """Yield a heading, and a line a row, in columns."""
    from captures.archive.answers import rows_in

    names = [plain(name, LONGEST) for name in answer.column_names]
    rows = [[_cell(value) for value in row] for row in rows_in(answer)]
    widths = [max(map(len, column)) for column in zip(names, *rows, strict=True)]
    right = [_is_number(field.type) for field in answer.schema]
    for row in (names, *rows):
        cells = zip(row, widths, right, strict=True)
        yield "  ".join(t.rjust(w) if r else t.ljust(w) for t, w, r in cells).rstrip()


def picture_lines(answer: "pyarrow.Table", drawing: "AnswerPicture") -> Iterator[str]:
    """Yield a line a row: bars, or spreads from low to high, on one scale where they compare."""
    from captures.archive.answers import ends_of, rows_alike

    rows = answer.to_pylist()
    labels = [" ".join(_cell(row[name]) for name in drawing.label) for row in rows]
    width = max(map(len, labels), default=0)
    draw = _bar if drawing.kind == "bar" else _spread
    shown: tuple[float, float] | None = None
    for row, label in zip(rows, labels, strict=True):
        low, high = ends_of(rows_alike(rows, row, drawing), drawing)
        if drawing.kind != "bar" and (low, high) != shown:
            shown = low, high
            ends = f"{_cell(low)} {_cell(high).rjust(COLUMNS - 1 - len(_cell(low)))}"
            yield f"{' ' * width}  {ends}"
        yield f"{label.ljust(width)}  {draw(row, drawing, low, high)}".rstrip()
    if drawing.kind != "bar":
        limits = ", | limits" if drawing.limits else ""
        least, box, _, box_end, most = (name.replace("_", " ") for name in drawing.values)
        yield f"- {least} to {most}, = {box} to {box_end}, o median{limits}"


def _bar(row: dict[str, Any], drawing: "AnswerPicture", low: float, high: float) -> str:
    value = row[drawing.values[0]]
    length = 0 if value is None else _column(value, low, high) + 1
    return f"{'#' * length} {_cell(value)}"


def _spread(row: dict[str, Any], drawing: "AnswerPicture", low: float, high: float) -> str:
    at = [
        None if row[n] is None or not math.isfinite(row[n]) else _column(row[n], low, high)
        for n in drawing.values
    ]
    first, box, median, box_end, last = at
    cells = [" "] * COLUMNS
    for start, end, mark in ((first, last, "-"), (box, box_end, "=")):
        if start is not None and end is not None:
            cells[start : end + 1] = mark * (end + 1 - start)
    for name in drawing.limits:
        if row[name] is not None and math.isfinite(row[name]):
            cells[_column(row[name], low, high)] = "|"
    if median is not None:
        cells[median] = "o"
    return "".join(cells)


def _column(value: float, low: float, high: float) -> int:
    share = (value - low) / (high - low) if high > low else 0.5
    return max(0, min(COLUMNS - 1, round(share * (COLUMNS - 1))))


def _cell(value: Any) -> str:
    from captures.archive.answers import shown

    return plain(shown(value), LONGEST)


def _is_number(kind: "pyarrow.DataType") -> bool:
    from pyarrow import types

    return bool(types.is_integer(kind) or types.is_floating(kind) or types.is_decimal(kind))
