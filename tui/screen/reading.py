"""The upper band: the reading, large; the stage of the touch with its verdict; the ruler."""

from math import floor, isfinite, log10
from typing import Final

from textual.content import Content
from textual.widget import Widget

from meterlink.events import Judged, Verdict
from meterlink.judging.criterion import Criterion
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.wording import VERDICT_WORDS, sure_in_short
from tui.announcing.forms import PHASE_PICTURES, VERDICT_PICTURES, Phase, Tone, tone_of_verdict
from tui.screen import figures
from tui.screen.figures import paint, rows_of
from tui.screen.plotting import AxisScale
from tui.screen.view import View

_BESIDE: Final = 2
"""Columns between figures and unit."""
_NO_READING: Final = "---"
_OVER: Final = "OL"


class ReadingView(Widget):
    """The value in figures as tall as there is room for, its unit beside, its origin beneath."""

    DETAIL_ROWS: Final = 2
    """What the figures are, and beneath it what the meter itself reads."""

    def __init__(self) -> None:
        super().__init__(id="reading")
        self.value = ""
        """The number shown: corrected where it is judged, else as read; ``OL`` for over range,
        dashes before the first reading."""
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
        lines += [Content(line).stylize("$quiet") for line in self.detail.splitlines()]
        return Content("\n").join(lines)


def _step(value: float, resolution: float) -> float:
    """Return the last digit worth showing: the meter's own, or the fourth that counts."""
    return max(resolution, 10.0 ** (floor(log10(abs(value))) - 3)) if value else resolution


def _number(view: View) -> tuple[str, str]:
    """Return figures and unit: of the hold while there is one, else of what is read now.

    Where the value is judged, they are those of the corrected value.
    """
    look, held = view.look, view.held
    corrected = _corrected(view)
    if held is not None:
        value = held.value if corrected is None else corrected
        return _split(format_value(value, held.unit, _step(value, held.resolution) or None))
    if look is None or look.reading is None:
        return _NO_READING, ""
    reading = look.reading
    if reading.overload:
        return _OVER, ""
    value = _read(view, reading.value) if corrected is None else corrected
    step = _step(value, reading.resolution or 0.0) or None
    return _split(format_value(value, reading.quantity.unit, step))


def _read(view: View, newest: float) -> float:
    """Return the best present estimate of the touch as read, the newest reading without one."""
    look = view.look
    return newest if look is None or look.value is None or view.phase is Phase.OFF else look.value


def _corrected(view: View) -> float | None:
    """Return the corrected value, where the step judges it; None where it does not."""
    look, held, judged = view.look, view.held, view.judged
    if held is not None:
        return None if judged is None else judged.corrected
    if look is None or view.phase is Phase.OFF:
        return None
    judging = view.criterion is not None and look.criterion is not None
    return look.corrected if judging else None


def _split(shown: str) -> tuple[str, str]:
    number, _, unit = shown.partition(" ")
    return (number, unit) if unit and number[-1:].isdigit() else (_NO_READING, "")


def _detail(view: View) -> str:
    """Return in words what the figures are and, under a corrected value, what the meter reads."""
    look, judged, held = view.look, view.judged, view.held
    if view.away:
        return "no reading: the meter is away"
    if look is None or look.reading is None:
        return "no reading yet"
    if held is None and look.reading.overload:
        return "over range: probes off, or an open path"
    if held is not None:
        read = format_value(held.value, held.unit, _step(held.value, held.resolution) or None)
        if judged is None or judged.corrected is None:
            return f"as read, held from {held.readings} readings"
        shown = format_with_u(judged.corrected, judged.u or 0.0, judged.unit)
        return f"corrected {shown}\nas read {read}, {judged.readings} readings"
    if _corrected(view) is None:
        return "as read"
    value = _read(view, look.reading.value)
    step = _step(value, look.reading.resolution or 0.0) or None
    return f"corrected\nas read {format_value(value, look.reading.quantity.unit, step)}"


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


_PIXELS: Final = (13, 8)
_WORDS: Final = 2
"""Rows of words under the pictures."""


class StageView(Widget):
    """The stage of the touch on the left, its verdict on the right."""

    def __init__(self) -> None:
        super().__init__(id="stage")
        self.phase = Phase.OFF
        self.verdict_words = ""
        self._judged: Judged | None = None
        self._tone = Tone.NONE

    def show(self, view: View) -> None:
        """Show where ``view`` stands."""
        judged = view.judged
        if view.phase is self.phase and judged is self._judged:
            return
        self.phase, self._judged = view.phase, judged
        self.verdict_words = "" if judged is None else VERDICT_WORDS[judged.verdict]
        self._tone = _tone(view, judged)
        self.refresh()

    def render(self) -> Content:
        """Return the pictures side by side with the words beneath."""
        columns, rows = (self.content_size.width - 1) // 2, self.content_size.height
        scale = 1
        while (scale + 1) * _PIXELS[0] <= columns and rows_of(
            _PIXELS[1], scale + 1
        ) + _WORDS <= rows:
            scale += 1
        left = [*paint(PHASE_PICTURES[self.phase], scale), self.phase.value]
        right: list[str] = []
        if self._judged is not None:
            judged = self._judged
            right = [
                *paint(VERDICT_PICTURES[judged.verdict], scale),
                self.verdict_words,
                _sure(judged),
            ]
        lift = "bold reverse" if self.phase is Phase.LIFT else "bold"
        news = "" if self._tone is Tone.NONE else f"bold reverse ${self._tone.value}"
        return Content("\n").join(
            Content.assemble((a, lift), " ", (b, news))
            for a, b in zip(
                _filled(left, columns, rows), _filled(right, columns, rows), strict=True
            )
        )


def _sure(judged: Judged) -> str:
    """Return how sure ``judged`` is, and of which position where a switch has been moved since."""
    at = f"“{plain(judged.position, 12)}” " if judged.position else ""
    return f"{at}{sure_in_short(judged)}"


def _filled(lines: list[str], columns: int, rows: int) -> list[str]:
    """Return ``lines`` in the middle of ``columns`` by ``rows`` of blanks."""
    above = max(0, (rows - len(lines)) // 2)
    lines = [""] * above + lines + [""] * rows
    return [line.center(columns)[:columns] for line in lines[:rows]]


def _tone(view: View, judged: Judged | None) -> Tone:
    if judged is None:
        return Tone.NONE
    return tone_of_verdict(view.progress.card.find(judged.step), judged, view.profile)


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
    """Return the line: thick within limits, thin outside, ticked where the verdict changes."""
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
