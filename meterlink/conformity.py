"""The probability that a measured thing conforms (JCGM 106:2012, clause 7).

What is known of the true value is a normal distribution about the best estimate or, where the
uncertainty itself rests on few readings, a scaled and shifted t-distribution (7.2.3).
"""

from math import erfc, inf, isinf, sqrt


def probability_between(
    estimate: float, u: float, low: float = -inf, high: float = inf, dof: float = inf
) -> float:
    """Return the probability that the true value lies from ``low`` to ``high`` (eqs. 8, 9, 11).

    ``u`` is the standard uncertainty of ``estimate`` with ``dof`` degrees of freedom; without
    any uncertainty the answer is one or nought, the limits belonging to the interval.
    """
    if u == 0 or isinf(estimate):
        return 1.0 if low <= estimate <= high else 0.0
    below, above = (low - estimate) / u, (high - estimate) / u
    if below > 0:
        # Both limits on the far side: the mirrored tails are small numbers that keep digits.
        below, above = -above, -below
    return max(0.0, _cdf(above, dof) - _cdf(below, dof))


def _cdf(z: float, dof: float) -> float:
    if isinf(z):
        return 1.0 if z > 0 else 0.0
    if isinf(dof):
        return erfc(-z / sqrt(2)) / 2
    from scipy.special import stdtr  # heavy: only where few readings make it necessary

    return float(stdtr(dof, z))
