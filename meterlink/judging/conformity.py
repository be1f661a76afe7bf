"""The probability of conformity (JCGM 106:2012, clause 7).

What is known of the true value is a normal distribution about the best estimate or, where the
uncertainty itself rests on few readings, a scaled and shifted t-distribution (7.2.3).
"""

from collections.abc import Callable, Sequence
from functools import cache
from math import erfc, inf, isinf, sqrt
from typing import cast


def probability_between(
    estimate: float, u: float, low: float = -inf, high: float = inf, dof: float = inf
) -> float:
    """Return the probability that the true value lies from ``low`` to ``high`` (eqs. 8, 9, 11).

    ``u`` is the standard uncertainty of ``estimate`` with ``dof`` degrees of freedom; without
    any uncertainty the answer is one or nought, the limits belonging to the interval.
    """
    if u == 0 or isinf(estimate):
        return 1.0 if low <= estimate <= high else 0.0
    return probabilities_between(estimate, u, (low, high), dof)[1]


def probabilities_between(
    estimate: float, u: float, edges: Sequence[float], dof: float = inf
) -> list[float]:
    """Return the probability of each stretch between ``edges``, rising, and beyond the outermost.

    As ``probability_between``, but ``estimate`` is finite and ``u`` above nought. One stretch
    more than edges.
    """
    result = []
    # Of each edge the tail beyond it, seen from the estimate: such small numbers keep their digits.
    was_above, was_tail = False, 0.0
    for edge in edges:
        z = (edge - estimate) / u
        tail = _tail(-abs(z), dof)
        if z <= 0:
            result.append(tail - was_tail)
        else:
            result.append(was_tail - tail if was_above else 1.0 - tail - was_tail)
        was_above, was_tail = z > 0, tail
    result.append(was_tail if was_above else 1.0 - was_tail)
    return [max(0.0, p) for p in result]


def _tail(z: float, dof: float) -> float:
    """Return the probability below ``z``, which is not above nought."""
    if z == -inf:
        return 0.0
    if dof == inf:
        return erfc(-z / sqrt(2)) / 2
    return float(_student()(dof, z))


@cache
def _student() -> Callable[[float, float], float]:
    """Load Student's distribution: heavy, so only where few readings make it necessary."""
    from scipy.special import stdtr

    return cast(Callable[[float, float], float], stdtr)
