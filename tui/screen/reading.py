"""What the meter sees, large."""

from math import floor, log10
from typing import Final

from textual.content import Content
from textual.widget import Widget

from meterlink.quantities.notation import format_value, format_with_u
from tui.announcing.forms import Phase
from tui.screen import figures
from tui.screen.view import View

_BESIDE: Final = 2
"""Columns between figures and unit."""
_NO_READING: Final = "---"
_OVER: Final = "OL"


class ReadingView(Widget):
    """The value in figures as tall as there is room for, its unit beside, its origin beneath."""

    DETAIL_ROWS: Final = 2

    def __init__(self) -> None:
        super().__init__(id="reading")
        self.value = ""
        """The number shown, ``OL`` for over range, dashes before the first reading."""
        self.unit = ""
        self.detail = ""

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        shown = _number(view), _detail(view)
        if shown != ((self.value, self.unit), self.detail):
            (self.value, self.unit), self.detail = shown
            self.refresh()

    def render(self) -> Content:
        """Return figures, unit and detail as lines."""
        columns, rows = self.content_size.width, self.content_size.height - self.DETAIL_ROWS
        lines = [Content(line) for line in _large(self.value, self.unit, columns, rows)]
        lines.append(Content(self.detail).stylize("$quiet"))
        return Content("\n").join(lines)


def _step(value: float, resolution: float) -> float:
    """Return the last digit worth showing: the meter's own, or the fourth that counts."""
    return max(resolution, 10.0 ** (floor(log10(abs(value))) - 3)) if value else resolution


def _number(view: View) -> tuple[str, str]:
    """Return figures and unit: of the hold while there is one, else of what is read now."""
    look, held = view.look, view.held
    if held is not None:
        step = _step(held.value, held.resolution) or None
        return _split(format_value(held.value, held.unit, step))
    if look is None or look.reading is None:
        return _NO_READING, ""
    reading = look.reading
    if reading.overload:
        return _OVER, ""
    value = reading.value if look.value is None or view.phase is Phase.OFF else look.value
    step = _step(value, reading.resolution or 0.0) or None
    return _split(format_value(value, reading.quantity.unit, step))


def _split(shown: str) -> tuple[str, str]:
    number, _, unit = shown.partition(" ")
    return (number, unit) if unit and number[-1:].isdigit() else (_NO_READING, "")


def _detail(view: View) -> str:
    """Return in words where the figures come from."""
    look, judged, held = view.look, view.judged, view.held
    if view.away:
        return "no reading: the meter is away"
    if look is None or look.reading is None:
        return "no reading yet"
    if held is None and look.reading.overload:
        return "over range: probes off, or an open path"
    if held is not None and judged is not None and judged.corrected is not None:
        shown = format_with_u(judged.corrected, judged.u or 0.0, judged.unit)
        return f"corrected {shown}, {judged.readings} readings"
    if held is not None:
        return f"held from {held.readings} readings"
    if look.corrected is not None and look.value is not None and look.criterion is not None:
        step = _step(look.corrected, look.reading.resolution or 0.0) or None
        return f"corrected {format_value(look.corrected, look.criterion.window.unit, step)}"
    return "as read"


def _large(number: str, unit: str, columns: int, rows: int) -> list[str]:
    """Return the rows of figures with the unit at their foot; plain text where no room is."""
    for scale in range(4, 0, -1):
        for unit_scale in range(scale, 0, -1):
            wide = figures.width(number, scale) + _BESIDE + figures.width(unit, unit_scale)
            if wide <= columns and figures.height(scale) <= rows:
                return _beside(number, scale, unit, unit_scale, rows)
    return [f"{number} {unit}"]


def _beside(number: str, scale: int, unit: str, unit_scale: int, rows: int) -> list[str]:
    left = figures.draw(number, scale)
    right = figures.draw(unit, unit_scale) if unit else []
    right = [""] * (len(left) - len(right)) + right
    gap = " " * _BESIDE
    spare = [""] * ((rows - len(left)) // 2)
    joined = [f"{a}{gap}{b}".rstrip() for a, b in zip(left, right, strict=True)]
    return [*spare, *joined, *[""] * (rows - len(left) - len(spare))]
