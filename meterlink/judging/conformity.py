"""The probability of conformity (JCGM 106:2012, clause 7).

What is known of the true value is a distribution about the best estimate: normal; where the
uncertainty itself rests on few readings a scaled and shifted t-distribution (7.2.3); where parts
are rectangular or on one side only, what they come to by convolution.
"""

from collections.abc import Sequence
from math import inf, isinf

from meterlink.quantities.budget import Budget, Component


def probability_between(
    estimate: float, u: float, low: float = -inf, high: float = inf, dof: float = inf
) -> float:
    """Return the probability that the true value lies from ``low`` to ``high`` (eqs. 8, 9, 11).

    ``u`` is the standard uncertainty of ``estimate`` with ``dof`` degrees of freedom; without
    any uncertainty the answer is one or zero, the limits belonging to the interval.
    """
    if u == 0 or isinf(estimate):
        return 1.0 if low <= estimate <= high else 0.0
    budget = Budget((Component(name="u", u=u, dof=None if dof == inf else dof),))
    return probabilities_between(estimate, budget, (low, high))[1]


def probabilities_between(
    estimate: float, budget: Budget, edges: Sequence[float], floor: float | None = None
) -> list[float]:
    """Return the probability of each stretch between ``edges``, rising, and beyond the outermost.

    One stretch more than edges. ``estimate`` is finite. ``floor``: the true value is known to be
    no less, as a resistance is zero or more; what lies below is shared out among the stretches.
    """
    ends = [_either_side(edge - estimate, budget) for edge in edges]
    cut_below, cut_above = (0.0, 1.0) if floor is None else _either_side(floor - estimate, budget)
    if cut_above <= 0:
        cut_below, cut_above = 0.0, 1.0
    result = []
    left = (cut_below, cut_above)
    for edge, end in zip(edges, ends, strict=True):
        if floor is not None and edge <= floor:
            end = (cut_below, cut_above)
        result.append(_stretch(left, end))
        left = end
    result.append(left[1])
    # Scaled once more, as rounding may leave them a hair from one together.
    return [max(0.0, p) / cut_above for p in result]


def _stretch(left: tuple[float, float], right: tuple[float, float]) -> float:
    """Return what lies between two ends, from their smaller tails, which keep their digits."""
    if left[1] < 0.5:
        return left[1] - right[1]
    if right[0] < 0.5:
        return right[0] - left[0]
    return 1.0 - left[0] - right[1]


def _either_side(distance: float, budget: Budget) -> tuple[float, float]:
    """Return the probabilities below and above ``distance`` from the estimate."""
    if distance == -inf:
        return 0.0, 1.0
    if distance == inf:
        return 1.0, 0.0
    away = distance - budget.shift
    tail = budget.below(budget.shift - abs(away))
    return (tail, 1.0 - tail) if away < 0 else (1.0 - tail, tail)
