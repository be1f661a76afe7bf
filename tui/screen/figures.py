"""Figures tall enough to read from across the workshop, and sentences that fit their page.

A figure is three pixels wide and five high, which a tired eye tells apart best; at ``scale`` it
is so 2.5 times ``scale`` rows high.
"""

from collections.abc import Iterable, Sequence
from typing import Final

from textual.content import Content
from textual.widgets import Static

from tui.announcing.signs import wrapped

_BLOCKS: Final = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def rows_of(pixels: int, scale: int) -> int:
    """Return how many rows ``pixels`` above one another take."""
    return (pixels * scale + 1) // 2


def paint(bitmap: Sequence[str], scale: int = 1) -> list[str]:
    """Return the rows that show ``bitmap``, a text a row in which ``#`` is a pixel.

    Raises:
        ValueError: ``scale`` is below one.
    """
    if scale < 1:
        raise ValueError(f"a picture of scale {scale} cannot be drawn")
    wide = ["".join(pixel * scale for pixel in row) for row in bitmap]
    halves = [row for row in wide for _ in range(scale)]
    if len(halves) % 2:
        halves.insert(0, " " * len(halves[0]))  # an odd half row goes on top, feet stay level
    return [
        "".join(_BLOCKS[top == "#", foot == "#"] for top, foot in zip(*pair, strict=True))
        for pair in zip(halves[::2], halves[1::2], strict=True)
    ]


_SHAPES: Final = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    "O": ("###", "# #", "# #", "# #", "###"),
    "L": ("#  ", "#  ", "#  ", "#  ", "###"),
    "-": ("   ", "   ", "###", "   ", "   "),
    ".": (" ", " ", " ", " ", "#"),
    " ": (" ", " ", " ", " ", " "),
    "G": ("####", "#   ", "# ##", "#  #", "####"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "V": ("#   #", "#   #", "#   #", " # # ", "  #  "),
    "k": ("#   ", "# # ", "##  ", "# # ", "# # "),
    "m": ("     ", "     ", "#####", "# # #", "# # #"),
    "Ω": (" ### ", "#   #", "#   #", " # # ", "## ##"),
}
"""``O`` and ``L`` are for over range: a meter that reads nothing shows no number."""

_ROWS: Final = 5


def height(scale: int) -> int:
    """Return how many rows figures of ``scale`` take."""
    return rows_of(_ROWS, scale)


def width(text: str, scale: int) -> int:
    """Return how many columns ``text`` takes at ``scale``."""
    if not text:
        return 0
    pixels = sum(len(_shape(character)[0]) for character in text)
    return pixels * scale + (len(text) - 1) * _gap(scale)


def draw(text: str, scale: int) -> list[str]:
    """Return the rows that show ``text``; a character without a shape is left blank."""
    # The gap is told in columns, not pixels, so figures are joined after they are drawn.
    drawn = [paint(_shape(character), scale) for character in text]
    gap = " " * _gap(scale)
    return [gap.join(rows) for rows in zip(*drawn, strict=True)]


def _shape(character: str) -> tuple[str, ...]:
    return _SHAPES.get(character, _SHAPES[" "])


def _gap(scale: int) -> int:
    return max(1, scale - 1)


class Sentences(Static):
    """Lines broken at words for the present width, and never between a number and its unit."""

    def __init__(self, name: str) -> None:
        """``name``: the widget's id."""
        super().__init__(id=name, markup=False)
        self._said: list[Content] = []

    def say(self, lines: Iterable[Content]) -> None:
        """Show ``lines`` from now on."""
        self._said = list(lines)
        self._break()

    def on_resize(self) -> None:
        """Break them anew."""
        self._break()

    def _break(self) -> None:
        columns = self.content_size.width or self.app.size.width
        self.update(Content("\n").join(broken(line, columns) for line in self._said))


def broken(line: Content, columns: int) -> Content:
    """Return ``line`` in rows of at most ``columns``, each part in its style."""
    text, rows, at = line.plain, [], 0
    for row in wrapped(text, columns + 1).splitlines():
        words = row.lstrip()
        begin = text.index(words, at)
        at = begin + len(words)
        rows.append(Content(row[: -len(words) or None]) + line[begin:at])
    return Content("\n").join(rows)
