"""Line drawings of what the probes touch, in text.

A drawing is a text file beside this module. A capital letter in it is a place that a probe can
touch, or part of the lever of a switch; it is drawn as a dot until something is marked there.
"""

from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Final

import msgspec

from meterlink.circuit.wiring import (
    BLOCK,
    LAMINATIONS,
    PLUG_LEAD,
    PRIMARY_TERMINAL,
    STOP_WIRE,
)

_PLACES: Final = {
    "P": PRIMARY_TERMINAL,
    "L": LAMINATIONS,
    "C": PLUG_LEAD,
    "S": STOP_WIRE,
    "B": BLOCK,
    "W": "stop switch terminal",
}
_LEVER: Final = "KK"
_CLOSED, _OPEN = "──", "╱ "
_GROUND: Final = {"L": "≡", "B": "░"}
"""What an unmarked place looks like where it is a spot on a larger thing; elsewhere a dot."""
_ALIKE: Final = {
    "plug lead without cap": PLUG_LEAD,
    "rusty laminations": LAMINATIONS,
    "painted laminations": LAMINATIONS,
    "rusty block": BLOCK,
    "painted block": BLOCK,
}
"""Places that look the same on a drawing."""


class Spot(msgspec.Struct, frozen=True):
    """A place on a drawing."""

    place: str
    row: int
    column: int
    label: str = ""
    """What is marked there; empty where nothing is."""


class Drawing(msgspec.Struct, frozen=True):
    """A drawing with its marks in it."""

    lines: tuple[str, ...]
    spots: tuple[Spot, ...]
    unplaced: tuple[tuple[str, str], ...] = ()
    """Label and place of every mark that this drawing has no spot for."""


def size_of(name: str) -> tuple[int, int]:
    """Return columns and rows of the drawing called ``name``."""
    lines = _load(name)
    return max(map(len, lines)), len(lines)


def draw_engine(name: str, marks: Mapping[str, str], *, closed: bool | None = None) -> Drawing:
    """Return the engine of the drawing ``name`` with ``marks``, labels by place, put in.

    ``closed``: how the switch's lever is shown; None: as open.
    """
    wanted = {_ALIKE.get(place, place): label for place, label in marks.items()}
    rows = [list(line) for line in _load(name)]
    spots = []
    for row, line in enumerate(_load(name)):
        at = line.find(_LEVER)
        if at >= 0:
            rows[row][at : at + len(_LEVER)] = _CLOSED if closed else _OPEN
        for letter, place in _PLACES.items():
            column = line.find(letter)
            if column < 0:
                continue
            label = wanted.pop(place, "")
            rows[row][column] = _GROUND.get(letter, "•")
            if label:
                mark = f"[{label}]"
                rows[row][column - 1 : column - 1 + len(mark)] = mark
            spots.append(Spot(place, row, column, label))
    return Drawing(
        tuple("".join(row) for row in rows),
        tuple(spots),
        tuple((label, place) for place, label in wanted.items()),
    )


def draw_tips() -> Drawing:
    """Return two probes held tip to tip."""
    return Drawing(tuple(line.replace("R", "1").replace("K", "2") for line in _load("tips")), ())


@cache
def _load(name: str) -> tuple[str, ...]:
    text = (resources.files(__package__) / f"{name}.txt").read_text(encoding="utf-8")
    return tuple(text.rstrip("\n").split("\n"))
