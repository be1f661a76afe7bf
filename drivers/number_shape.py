"""The shape of a meter's numbers: how many digits, where the point, which form of exponent.

A meter writes all its numbers in a few shapes. A byte that was lost, doubled or damaged on the way
often leaves what still reads as a number, yet in a shape that this meter never sends.
"""

import re
from typing import Final

_DIGITS: Final = re.compile(r"\d")
_MOST: Final = 12
"""A meter with more shapes than this writes numbers as they come, and none of them is odd."""
_RUN: Final = 2
"""So many in a row make a shape known: damage seldom hits twice in the same way."""


def shape_of(text: str) -> str:
    """Return the shape of ``text``: every digit a 9, every sign a plus."""
    return _DIGITS.sub("9", text.strip()).replace("-", "+")


class NumberShapes:
    """Learns which shapes a meter sends."""

    def __init__(self) -> None:
        self._known: set[str] = set()
        self._odd = ""
        self._count = 0

    def fits(self, text: str) -> bool:
        """Whether ``text`` has a shape of this meter's; what comes twice in a row is one of them.

        The first one ever is taken for granted.
        """
        shape = shape_of(text)
        if shape in self._known or not self._known or len(self._known) > _MOST:
            self._known.add(shape)
            self._odd, self._count = "", 0
            return True
        self._count = self._count + 1 if shape == self._odd else 1
        self._odd = shape
        if self._count < _RUN:
            return False
        self._known.add(shape)
        return True
