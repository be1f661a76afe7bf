"""When a steady value may be held: decided, or beyond what more readings can mend.

The intervals hold at every reading at once, however often one looks: the normal mixture of
H. Robbins (*Ann. Math. Statist.* 41, 1970, 1397-1409) in the form of S. R. Howard, A. Ramdas,
J. McAuliffe and J. Sekhon (*Ann. Statist.* 49, 2021, 1055-1080). A sum of independent terms with
intrinsic time ``v`` (number times variance) stays within ``mixture_bound(v)`` for all ``v`` at once
with probability of at least ``1 - alpha``.
"""

from collections.abc import Callable, Sequence
from math import isnan, log, sqrt
from typing import Final

import msgspec

from meterlink.events import Limit
from meterlink.hold.policy import HoldPolicy
from meterlink.quantities.statistics import Statistics

_COVERAGE: Final = 1.645
"""Standard uncertainties of what averaging cannot mend that an edge must be away: 5 %, one side."""
_FEWEST: Final = 8
"""Fewer values than this tell nothing of their correlation."""


def _nothing(_value: float) -> float:
    return 0.0


class DecisionEdges(msgspec.Struct, frozen=True, kw_only=True):
    """Where a value matters, and what averaging cannot mend.

    Both are in the unit of the readings, for values as read (not yet corrected).
    """

    edges: tuple[float, ...] = ()
    """Values at which the verdict changes; near one of them averaging goes on longer."""
    u_fixed: Callable[[float], float] = _nothing
    """Standard uncertainty, at a value as read, that more readings leave as it is."""


def limit_of(u: float, fixed: float, step: float) -> Limit:
    """What keeps the uncertainty from being smaller: noise, the meter, or its last digit."""
    rounding = step / sqrt(12)
    if rounding >= max(u, fixed):
        return Limit.RESOLUTION
    return Limit.METER if fixed > u else Limit.NOISE


def should_stop(
    policy: HoldPolicy,
    aim: DecisionEdges | None,
    value: float,
    u: float,
    sd: float,
    n: int,
    step: float,
) -> bool:
    """Whether more readings would change nothing that matters.

    They do not where no edge is aimed at, where the interval that survives repeated looking
    (``mean_radius``), widened by what averaging cannot mend, is clear of every edge,
    or where repeatability is already small beside what averaging cannot mend.

    Args:
        policy: the numbers to go by.
        aim: the edges, and what averaging cannot mend; None for neither.
        value: steadied, as read.
        u: its standard uncertainty by repeatability.
        sd: standard deviation of one point, serial correlation included.
        n: points that it rests on.
        step: step of the last digit.
    """
    if aim is None or not aim.edges:
        return True
    fixed = sqrt(aim.u_fixed(value) ** 2 + step * step / 12)
    if u <= policy.small_share * fixed:
        return True
    radius = mean_radius(n, sd, policy.doubt, policy.due_readings)
    clear = sqrt(radius * radius + (_COVERAGE * fixed) ** 2)
    return min([abs(value - edge) for edge in aim.edges]) > clear


def mixture_rho(v: float, alpha: float) -> float:
    """The ``rho`` that makes the bound narrowest about the intrinsic time ``v``."""
    surprise = 2 * log(1 / alpha)
    return v / (surprise + log(1 + surprise))


def mixture_bound(v: float, alpha: float, rho: float) -> float:
    """Two-sided bound of a sum at intrinsic time ``v``."""
    return sqrt((v + rho) * (log(1 + v / rho) + 2 * log(1 / alpha)))


def mean_radius(n: float, sd: float, alpha: float, tuned: float) -> float:
    """Half width of the interval for a mean of ``n`` values, narrowest about ``tuned`` values."""
    return sd * mixture_bound(n, alpha, mixture_rho(tuned, alpha)) / n


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
