"""Intervals that hold at every reading at once, however often one looks.

The normal mixture of H. Robbins (*Ann. Math. Statist.* 41, 1970, 1397-1409) in the form of
S. R. Howard, A. Ramdas, J. McAuliffe and J. Sekhon (*Ann. Statist.* 49, 2021, 1055-1080): a sum
of independent terms with intrinsic time ``v`` (number times variance) stays within
``mixture_bound(v)`` for all ``v`` at once with probability of at least ``1 - alpha``.
"""

from math import log, sqrt


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
