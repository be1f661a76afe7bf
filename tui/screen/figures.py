"""Figures tall enough to read from across the workshop, drawn with block characters.

A figure is three pixels wide and five high, which a tired eye tells apart best. A pixel is
``scale`` columns wide and ``scale`` half rows high, so it looks square in a terminal; a figure is
so 2.5 times ``scale`` rows high. Only block characters are used, which every terminal's font has.
"""

from typing import Final

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
_BLOCKS: Final = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def height(scale: int) -> int:
    """Return how many rows figures of ``scale`` take."""
    return (_ROWS * scale + 1) // 2


def width(text: str, scale: int) -> int:
    """Return how many columns ``text`` takes at ``scale``."""
    if not text:
        return 0
    pixels = sum(len(_shape(character)[0]) for character in text)
    return pixels * scale + (len(text) - 1) * _gap(scale)


def draw(text: str, scale: int) -> list[str]:
    """Return the rows that show ``text``; a character without a shape is left blank.

    Raises:
        ValueError: ``scale`` is below one.
    """
    if scale < 1:
        raise ValueError(f"a figure of scale {scale} cannot be drawn")
    gap = " " * _gap(scale)
    lines = [
        gap.join("".join(pixel * scale for pixel in _shape(character)[row]) for character in text)
        for row in range(_ROWS)
    ]
    halves = [line for line in lines for _ in range(scale)]
    if len(halves) % 2:
        halves.insert(0, " " * len(halves[0]))  # an odd half row goes on top, feet stay level
    return [
        "".join(_BLOCKS[top == "#", foot == "#"] for top, foot in zip(*pair, strict=True))
        for pair in zip(halves[::2], halves[1::2], strict=True)
    ]


def largest_scale(text: str, columns: int, rows: int, most: int = 4) -> int:
    """Return the largest scale up to ``most`` at which ``text`` fits; 0 where none does."""
    for scale in range(most, 0, -1):
        if height(scale) <= rows and width(text, scale) <= columns:
            return scale
    return 0


def _shape(character: str) -> tuple[str, ...]:
    return _SHAPES.get(character, _SHAPES[" "])


def _gap(scale: int) -> int:
    return max(1, scale - 1)
