"""A meter's published accuracy, turned into a half-width at one reading."""

from collections.abc import Sequence
from math import inf

from meterlink.source import Accuracy

_SAME = 0.01
"""Ranges named 1000 and 1 k, or 1.0001 k, are one range: within this share of each other."""


def same_range(a: float, b: float) -> bool:
    """Return whether two full scales name one range."""
    return abs(a - b) <= _SAME * max(abs(a), abs(b))


def accuracy_at(
    accuracy: Sequence[Accuracy], value: float, range_: float | None = None
) -> Accuracy | None:
    """Return the line of a meter's specification that a reading falls under.

    The line of ``range_`` where that is known; else the smallest range that holds ``value``,
    else one that is for every range. None where there is none to go by.
    """
    if len(accuracy) < 2:
        return accuracy[0] if accuracy else None
    general = next((line for line in accuracy if line.range is None), None)
    ranged = sorted((a for a in accuracy if a.range is not None), key=_full_scale)
    if range_ is not None:
        named = next((a for a in ranged if same_range(_full_scale(a), range_)), None)
        if named is not None or general is not None:
            return named or general
    holding = (a for a in ranged if _full_scale(a) >= max(abs(value), range_ or 0.0))
    return next(holding, None) or general or (ranged[-1] if ranged else None)


def gain_part(line: Accuracy, value: float) -> float:
    """Return the half-width that grows with the reading: percent of reading."""
    return line.percent / 100 * abs(value)


def constant_part(line: Accuracy, resolution: float, range_: float | None = None) -> float:
    """Return the half-width that is the same all over a range: counts and percent of range."""
    full_scale = line.range if line.range is not None else range_
    return line.counts * resolution + line.of_range / 100 * (full_scale or 0.0)


def _full_scale(line: Accuracy) -> float:
    return inf if line.range is None else line.range
