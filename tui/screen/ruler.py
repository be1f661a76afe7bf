"""The window as a ruler, with the reading's place and its uncertainty as a bar."""

from math import isfinite

from textual.content import Content
from textual.widget import Widget

from meterlink.events import Verdict
from meterlink.judging.criterion import Criterion
from meterlink.quantities.notation import format_value
from tui.screen.scale import AxisScale
from tui.screen.view import View


class RulerView(Widget):
    """Three rows: the reading over its bar, the line with the window, the ends in words."""

    def __init__(self) -> None:
        super().__init__(id="ruler")
        self._criterion: Criterion | None = None
        self._value: float | None = None
        self._u = 0.0

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        look, judged, criterion = view.look, view.judged_here, view.criterion
        if look is None:
            return
        value, u = None, 0.0
        if judged is not None and judged.step == look.step and view.held is not None:
            value, u = judged.corrected, judged.u or 0.0
        elif look.reading is not None and not look.reading.overload:
            value = look.corrected
            u = 2 * look.u if look.u is not None and isfinite(look.u) else 0.0
        shown = (criterion, value, u)
        if shown != (self._criterion, self._value, self._u):
            self._criterion, self._value, self._u = shown
            self.refresh()

    def render(self) -> Content:
        """Return the ruler for the present width."""
        if self._criterion is None:
            return Content("")
        rows = ruler(self._criterion, self._value, self._u, self.content_size.width)
        return Content("\n").join(
            [Content(rows[0]).stylize("bold"), Content(rows[1]), Content(rows[2])]
        )


def ruler(
    criterion: Criterion, value: float | None, u: float, columns: int
) -> tuple[str, str, str]:
    """Return the three rows of a ruler ``columns`` wide.

    ``value`` and its half-width ``u`` are in the window's unit; None: nothing to point at.
    """
    scale = AxisScale.of(criterion)
    last = max(10, columns) - 1
    return (
        _pointer(scale, value, u, last),
        _line(criterion, scale, last),
        _ends(criterion, scale, last),
    )


def _column(scale: AxisScale, value: float, last: int) -> int:
    place = scale.place(value)
    if place == float("inf"):
        return last
    return min(last, max(0, round(place * last))) if isfinite(place) else 0


def _pointer(scale: AxisScale, value: float | None, u: float, last: int) -> str:
    """Return the mark of the value, as far out as it goes, on the bar of its uncertainty."""
    if value is None or value != value:
        return ""
    row = [" "] * (last + 1)
    left, right = (_column(scale, end, last) for end in (value - u, value + u))
    if right > left:
        row[left : right + 1] = ["├", *"─" * (right - left - 1), "┤"]
    place = scale.place(value)
    at = _column(scale, value, last)
    row[at] = "◀" if place < 0 else "▶" if place > 1 else "▼"
    return "".join(row)


def _line(criterion: Criterion, scale: AxisScale, last: int) -> str:
    """Return the line: thick in the window, thin outside, ticked where the verdict changes."""
    window = criterion.window
    row = ["─"] * (last + 1)
    left = 0 if window.low is None else _column(scale, window.low, last)
    right = last if window.high is None else _column(scale, window.high, last)
    row[left : right + 1] = ["━"] * (right - left + 1)
    for edge in criterion.edges:
        if 0 <= scale.place(edge) <= 1:
            row[_column(scale, edge, last)] = "┴"
    if window.low is not None:
        row[left] = "┣"
    if window.high is not None:
        row[right] = "┫"
    return "".join(row)


def _ends(criterion: Criterion, scale: AxisScale, last: int) -> str:
    """Return the ends of the window as values, and the names of what lies beside it."""
    window, unit = criterion.window, criterion.window.unit
    row = [" "] * (last + 1)
    for end in (window.low, window.high):
        if end is not None:
            words = format_value(end, unit)
            _write(row, _column(scale, end, last) - len(words) // 2, words)
    if criterion.short_below is not None:
        _write(row, 0, "short")
    if criterion.open_above is not None or criterion.good is Verdict.OPEN:
        _write(row, last - 3, "open")
    return "".join(row)


def _write(row: list[str], at: int, words: str) -> None:
    """Write ``words`` into ``row`` where they fit and cover nothing."""
    at = max(0, min(at, len(row) - len(words)))
    before, after = max(0, at - 1), at + len(words) + 1
    if all(cell == " " for cell in row[before:after]):
        row[at : at + len(words)] = list(words)
