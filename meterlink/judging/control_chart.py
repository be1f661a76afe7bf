"""A control chart of meter checks: individual values and their moving average, with limits.

Shewhart's chart for individuals (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2): the
limits lie three standard deviations from the centre, and the standard deviation is the average
moving range of two over d2 = 1.128, which a slow drift inflates less than the usual one. It sees a
jump. Beside it runs the exponentially weighted moving average (6.3.2.4), which sees a drift: a
shift of one standard deviation after about 10 checks, where single values take about 44.
"""

from collections.abc import Sequence
from enum import Enum
from itertools import pairwise
from math import sqrt
from statistics import fmean
from typing import Final

import msgspec

D2: Final = 1.128
"""Expected range of two values from a normal distribution, in standard deviations."""

LEAST: Final = 8
"""Fewer values than this give no limits worth the name."""

RUN: Final = 8
"""So many in a row on one side of the centre are no accident (one in 128)."""

WEIGHT: Final = 0.2
"""Of the newest value in the moving average."""
WIDTH: Final = 2.86
"""Standard deviations of the moving average from the centre to its limits: where nothing is wrong,
about one check in 370 lies beyond (Lucas and Saccucci 1990, from memory; simulated the same)."""

FALSE_ALARMS: Final = (
    "With a sound meter, about one check in 370 lies beyond the limits, one in 370 brings the "
    "moving average beyond its own, and one in 260 ends a run of eight: one in 120 altogether."
)
"""What to expect of the chart where nothing is wrong; simulated, limits taken as known."""


class Signal(Enum):
    """Why a value stands out."""

    BEYOND = "beyond the limits"
    RUN = "a run on one side of the centre"
    DRIFT = "a moving average beyond its limits"


class ControlChart(msgspec.Struct, frozen=True, kw_only=True):
    """Centre, limits and signals of a series of checks, oldest first."""

    centre: float
    sd: float
    """Short-term, from the moving ranges; no less than that of the last digit."""
    lower: float
    upper: float
    averages: tuple[float, ...] = ()
    """Exponentially weighted moving average after each value."""
    average_lower: float = 0.0
    average_upper: float = 0.0
    slack: float = 0.0
    """Half of the last digit: so far beyond a limit a value says nothing yet."""
    signals: tuple[tuple[int, Signal], ...]
    """Index of each value that stands out, with the reason."""


def control_chart(
    values: Sequence[float], base: int | None = None, step: float = 0.0
) -> ControlChart | None:
    """Return the chart of ``values``, oldest first; None for fewer than eight.

    ``base``: how many of the first values set centre and limits; None takes all. ``step``: of the
    last digit, same unit: checks that all show the same digits are not free of scatter, and half a
    digit more or less is none of the meter's doing.
    """
    basis = values if base is None else values[:base]
    if len(basis) < LEAST:
        return None
    centre = fmean(basis)
    ranges = fmean(abs(b - a) for a, b in pairwise(basis)) / D2
    sd = max(ranges, step / sqrt(12))
    reach, slack = 3 * sd, step / 2
    averages = moving_average(values, centre)
    average_reach = average_limit(sd)
    signals: list[tuple[int, Signal]] = []
    run, side = 0, 0
    for index, (value, average) in enumerate(zip(values, averages, strict=True)):
        now = (value > centre) - (value < centre)
        run = run + 1 if now == side and now else abs(now)
        side = now
        if abs(value - centre) > reach + slack:
            signals.append((index, Signal.BEYOND))
        if run >= RUN:
            signals.append((index, Signal.RUN))
        if abs(average - centre) > average_reach + slack:
            signals.append((index, Signal.DRIFT))
    return ControlChart(
        centre=centre,
        sd=sd,
        lower=centre - reach,
        upper=centre + reach,
        averages=tuple(averages),
        average_lower=centre - average_reach,
        average_upper=centre + average_reach,
        slack=slack,
        signals=tuple(signals),
    )


def moving_average(values: Sequence[float], centre: float, weight: float = WEIGHT) -> list[float]:
    """Return the exponentially weighted moving average after each value, begun at ``centre``."""
    averages, average = [], centre
    for value in values:
        average = weight * value + (1 - weight) * average
        averages.append(average)
    return averages


def average_limit(sd: float, weight: float = WEIGHT, width: float = WIDTH) -> float:
    """Return how far the moving average of values of ``sd`` may lie from the centre."""
    return width * sd * sqrt(weight / (2 - weight))
