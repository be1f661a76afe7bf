"""The two numbers that stand for what is no number, on wires and in plain files.

SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5: 9.9E37 stands for infinity, -9.9E37 for minus infinity,
9.91E37 for not-a-number.
"""

import math
from typing import Final

OVER_WORDS: Final = frozenset(
    {"OL", "O.L", "0L", "OVL", "OVLD", "OVER", "OVERLOAD", "OVERFLOW", "OVERRANGE", "OFL"}
    | {"INF", "INFINITY", "OPEN", "----", "-----"}
)
"""Words for «over range», upper case. INFinity is the standard's (SCPI-1999 volume 1, 7.2.1.4)."""

INFINITY: Final = 9.9e37
NOT_A_NUMBER: Final = 9.91e37

_CLOSE: Final = 1e-5
"""The two differ by 1e-3; a meter that counts in single precision rounds them by 1e-7."""


def real_value(number: float) -> float:
    """Return what ``number`` stands for: itself, an infinity, or not-a-number."""
    if abs(number) < 9.8e37:
        return number
    if math.isclose(abs(number), INFINITY, rel_tol=_CLOSE):
        return math.copysign(math.inf, number)
    if math.isclose(number, NOT_A_NUMBER, rel_tol=_CLOSE):
        return math.nan
    return number
