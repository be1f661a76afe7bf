"""Pictures of square pixels, drawn with block characters, which every terminal's font has.

A pixel is ``scale`` columns wide and ``scale`` half rows high: a terminal's cell is about twice as
high as it is wide, so it looks square.
"""

from collections.abc import Sequence
from typing import Final

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
