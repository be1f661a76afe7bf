"""The shape of a meter's numbers: how many digits, where the point, which form of exponent.

A meter writes all its numbers in a few shapes. A byte that was lost, doubled or damaged on the way
often leaves what still reads as a number, yet in a shape that this meter never sends.
"""

import re
from typing import Final

_DIGITS: Final = re.compile(r"\d")
_SHARE: Final = 0.15
"""A shape that makes up so much of what came lately is one of the meter's own."""
_KEEPS: Final = 0.97
"""What a reading counts when the next has come: some thirty of them are remembered."""
_RUN: Final = 2
"""So many in a row are no accident either: the meter has changed its range."""


def shape_of(text: str) -> str:
    """Return the shape of ``text``: every digit a 9, every sign a plus."""
    return _DIGITS.sub("9", text.strip()).replace("-", "+")


class NumberShapes:
    """Learns which shapes a meter sends. Memory is bounded: what is rare is forgotten."""

    def __init__(self) -> None:
        self._counts: dict[str, float] = {}
        self._newest = ""
        self._run = 0

    def fits(self, text: str) -> bool:
        """Whether ``text`` has a shape that this meter sends, as far as that is known by now."""
        shape = shape_of(text)
        self._run = self._run + 1 if shape == self._newest else 1
        self._newest = shape
        counts = self._counts
        for known in counts:
            counts[known] *= _KEEPS
        counts[shape] = counts.get(shape, 0.0) + 1.0
        if len(counts) > _MOST:
            self._counts = {known: n for known, n in counts.items() if n > 0.1}
        return self._run >= _RUN or counts[shape] >= _SHARE * sum(counts.values())


_MOST: Final = 64
