"""An answer as a page for a browser: its table, and a picture where the question has one.

The page needs nothing from outside, has no script, and follows the light or dark of the reader.
"""

import math
from collections.abc import Iterator
from html import escape
from typing import TYPE_CHECKING, Any, Final

from captures.archive.results import rows_in, when
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    import pyarrow

    from captures.archive.questions import Drawing

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


def page_of(answer: "pyarrow.Table", title: str, drawing: "Drawing | None" = None) -> str:
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


def ends_of(rows: list[dict[str, Any]], drawing: "Drawing") -> tuple[float, float]:
    """Return where the scale of ``rows`` begins and ends; bars begin at zero."""
    found = [row[name] for row in rows for name in (*drawing.values, *drawing.limits)]
    values = [float(v) for v in found if _is_drawn(v)] or [0.0]
    return (0.0 if drawing.kind == "bar" else min(values)), max(values)


def rows_alike(
    rows: list[dict[str, Any]], row: dict[str, Any], drawing: "Drawing"
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


def _picture(answer: "pyarrow.Table", drawing: "Drawing") -> str:
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


def _marks(row: dict[str, Any], drawing: "Drawing", low: float, high: float) -> Iterator[str]:
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
