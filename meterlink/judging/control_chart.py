"""A control chart of meter checks: individual values with limits from their moving range.

Shewhart's chart for individuals (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2): the
limits lie three standard deviations from the centre, and the standard deviation is the average
moving range of two over d2 = 1.128, which a slow drift inflates less than the usual one.
"""

from collections.abc import Sequence
from enum import Enum
from itertools import pairwise
from statistics import fmean
from typing import Final

import msgspec

D2: Final = 1.128
"""Expected range of two values from a normal distribution, in standard deviations."""

LEAST: Final = 8
"""Fewer values than this give no limits worth the name."""

RUN: Final = 8
"""So many in a row on one side of the centre are no accident (one in 128)."""


class Signal(Enum):
    """Why a value stands out."""

    BEYOND = "beyond the limits"
    RUN = "a run on one side of the centre"


class ControlChart(msgspec.Struct, frozen=True, kw_only=True):
    """Centre, limits and signals of a series of checks, oldest first."""

    centre: float
    sd: float
    """Short-term standard deviation, from the moving ranges."""
    lower: float
    upper: float
    signals: tuple[tuple[int, Signal], ...]
    """Index of each value that stands out, with the reason."""


def control_chart(values: Sequence[float], base: int | None = None) -> ControlChart | None:
    """Return the chart of ``values``, oldest first; None for fewer than eight.

    ``base``: how many of the first values set centre and limits; None takes all.
    """
    basis = values if base is None else values[:base]
    if len(basis) < LEAST:
        return None
    centre = fmean(basis)
    sd = fmean(abs(b - a) for a, b in pairwise(basis)) / D2
    lower, upper = centre - 3 * sd, centre + 3 * sd
    signals: list[tuple[int, Signal]] = []
    run, side = 0, 0
    for index, value in enumerate(values):
        now = (value > centre) - (value < centre)
        run = run + 1 if now == side and now else abs(now)
        side = now
        if not lower <= value <= upper:
            signals.append((index, Signal.BEYOND))
        if run >= RUN:
            signals.append((index, Signal.RUN))
    return ControlChart(centre=centre, sd=sd, lower=lower, upper=upper, signals=tuple(signals))
