"""The step of the last digit, where neither driver nor text tells it."""

import itertools
from math import isfinite


def step_of_digits(value: float) -> float:
    """Step of the last digit that ``value`` shows: 82.3 shows 0.1, 4700 shows 100.

    Trailing zeros are lost in a float, so this is the coarsest step that fits.
    """
    if not value or not isfinite(value):
        return 0.0
    mantissa, _, power = f"{value:.12e}".partition("e")
    digits = mantissa.lstrip("-").replace(".", "").rstrip("0")
    return float(10.0 ** (int(power) - len(digits) + 1))


def step_of(values: list[float]) -> float:
    """Step between values as rounded by the meter, or 0 where they do not show one.

    Noise that is not rounded never gives the same value twice, so a repeat tells that there is
    a step: the smallest difference seen. Where all are the same, the digits tell.
    """
    distinct = sorted(set(values))
    if len(distinct) == len(values):
        return 0.0
    if len(distinct) == 1:
        return step_of_digits(distinct[0])
    scale = abs(distinct[-1]) * 1e-9
    gaps = [b - a for a, b in itertools.pairwise(distinct) if b - a > scale]
    return min(gaps, default=0.0)
