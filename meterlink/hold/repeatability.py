"""How much serial correlation makes the mean of a stretch less certain than it looks."""

from collections.abc import Sequence
from math import isnan

from meterlink.quantities.statistics import Statistics

_FEWEST = 8
"""Fewer values than this tell nothing of their correlation."""


def serial_inflation(values: Sequence[float]) -> float:
    """By how much the variance of the mean is larger than ``s² / n``, at least 1.

    ``(1 + r) / (1 - r)`` for noise of first order with lag-one autocorrelation ``r``. The
    estimate of ``r`` is biased by about ``-1 / n``, which is put back.
    """
    if len(values) < _FEWEST:
        return 1.0
    series = Statistics()
    for value in values:
        series.add(value)
    lag1 = series.lag1
    if isnan(lag1):
        return 1.0
    r = min(max(lag1 + 1.0 / series.count, 0.0), 0.9)
    return (1 + r) / (1 - r)
