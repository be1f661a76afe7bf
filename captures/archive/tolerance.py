"""Tolerance intervals: between which values so much of all windings lies, and how sure that is.

For normal values the two-sided interval is the mean and ``k`` standard deviations either way, with
``k`` exact (ISO 16269-6; the approximation of NIST/SEMATECH e-Handbook 7.2.6.3 agrees within one
part in a hundred). For others it lies between two of the sorted values (order statistics; S. S.
Wilks, Annals of Mathematical Statistics 12 (1941) 91). Normality is tested by Anderson and Darling
at 5 % with mean and deviation from the sample (D'Agostino and Stephens, Goodness-of-Fit
Techniques, 1986, table 4.7).
"""

from collections.abc import Sequence
from math import inf
from typing import Final, NamedTuple

import numpy as np

CONTENT: Final = 0.95
"""Share of all windings that the interval holds."""
CONFIDENCE: Final = 0.95
"""Probability that it holds at least so much."""

LEAST: Final = 8
"""Fewer values than this say nothing of their distribution."""

_A2_AT_5_PERCENT: Final = 0.752
_NODES: Final = 60


class Tolerance(NamedTuple):
    """An interval, and by which way it was found."""

    low: float | None
    """None where there are too few values for an interval."""
    high: float | None
    way: str
    """``normal``, ``order statistics``, or why there is none."""
    anderson_darling: float | None
    """The statistic, adjusted for the number of values; more than 0.752 is not normal."""


def tolerance_interval(
    values: Sequence[float], content: float = CONTENT, confidence: float = CONFIDENCE
) -> Tolerance:
    """Return between which values ``content`` of the population lies, with ``confidence``."""
    sample = np.sort(np.asarray(values, dtype=float))
    n = len(sample)
    if n < LEAST:
        return Tolerance(None, None, f"fewer than {LEAST} values", None)
    a2 = anderson_darling(sample)
    if a2 <= _A2_AT_5_PERCENT:
        k = normal_factor(n, content, confidence)
        mean, deviation = float(sample.mean()), float(sample.std(ddof=1))
        return Tolerance(mean - k * deviation, mean + k * deviation, "normal", a2)
    left_out = order_statistics(n, content, confidence)
    if left_out is None:
        few = f"not normal, and order statistics need {fewest(content, confidence)} values"
        return Tolerance(None, None, few, a2)
    low, high = left_out
    return Tolerance(float(sample[low]), float(sample[n - 1 - high]), "order statistics", a2)


def normal_factor(n: int, content: float, confidence: float) -> float:
    """Return the exact two-sided factor ``k`` for ``n`` normal values.

    The interval holds enough if the deviation of the sample is at least what its mean, at its
    distance from the true one, makes necessary; that is averaged over the mean by Gauss-Hermite
    quadrature.
    """
    from scipy.optimize import brentq
    from scipy.special import chdtrc

    nodes, weights = np.polynomial.hermite.hermgauss(_NODES)
    reach = np.array([_reach(abs(x) * np.sqrt(2 / n), content) for x in nodes])
    dof = n - 1

    def missing(k: float) -> float:
        sure = chdtrc(dof, dof * (reach / k) ** 2)
        return float(np.dot(weights, sure) / np.sqrt(np.pi)) - confidence

    return float(brentq(missing, 0.1, 1e4, xtol=1e-9))


def order_statistics(n: int, content: float, confidence: float) -> tuple[int, int] | None:
    """Return how many of ``n`` sorted values may be left out below and above; None for too few.

    What lies between the values so chosen holds ``content`` with at least ``confidence``.
    """
    from scipy.special import bdtr

    left_out = -1
    # With r left out in all and the two ends of the interval themselves, r + 2 gaps lie outside.
    while left_out + 1 <= n - 2 and bdtr(n - 2 - (left_out + 1), n, content) >= confidence:
        left_out += 1
    return None if left_out < 0 else (left_out // 2, left_out - left_out // 2)


def fewest(content: float, confidence: float) -> int:
    """Return how many values it takes for an interval from the smallest to the largest."""
    n = 2
    while order_statistics(n, content, confidence) is None:
        n += 1
    return n


def anderson_darling(sample: Sequence[float] | np.ndarray) -> float:
    """Return the statistic A², adjusted for a sample whose mean and deviation are estimated."""
    from scipy.special import log_ndtr

    values = np.sort(np.asarray(sample, dtype=float))
    n, deviation = len(values), values.std(ddof=1)
    if not deviation > 0:
        return inf
    z = (values - values.mean()) / deviation
    i = np.arange(1, n + 1)
    a2 = -n - float(np.sum((2 * i - 1) * (log_ndtr(z) + log_ndtr(-z[::-1])))) / n
    return a2 * (1 + 0.75 / n + 2.25 / n**2)


def _reach(offset: float, content: float) -> float:
    """Return how far either way of ``offset`` holds ``content`` of the normal distribution."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    def missing(r: float) -> float:
        return float(ndtr(offset + r) - ndtr(offset - r)) - content

    return float(brentq(missing, 0.0, offset + 40.0, xtol=1e-12))
