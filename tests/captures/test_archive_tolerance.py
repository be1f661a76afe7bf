"""Tolerance intervals held to published factors, and to what they promise."""

import numpy as np
import pytest
from scipy.special import ndtr

from captures.archive.questions import (
    anderson_darling,
    fewest,
    normal_factor,
    order_statistics,
    tolerance_interval,
)


@pytest.mark.parametrize(
    ("n", "content", "factor"),
    [
        (4, 0.90, 5.37), (4, 0.95, 6.34), (4, 0.99, 8.22),
        (10, 0.90, 2.86), (10, 0.95, 3.39), (10, 0.99, 4.44),
        (20, 0.90, 2.32), (20, 0.95, 2.76), (20, 0.99, 3.62),
        (60, 0.90, 1.96), (60, 0.95, 2.34), (60, 0.99, 3.07),
    ],
)  # fmt: skip
def test_factors_are_those_of_the_published_table(n, content, factor):
    """P. M. Berthouex and L. C. Brown, Statistics for Environmental Engineers, table 21.1, for 95 %
    confidence."""
    assert normal_factor(n, content, 0.95) == pytest.approx(factor, abs=0.012)


def test_the_handbook_s_example_lies_close_by():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: n = 43, 90 % with 99 % confidence,
    k2 = 2.217 by an approximation that the exact factor differs from by less than 1 %."""
    assert normal_factor(43, 0.90, 0.99) == pytest.approx(2.217, rel=0.01)


def test_fewest_values_between_smallest_and_largest():
    """S. S. Wilks 1941 and ISO 16269-6: 93 values for 95 % with 95 % confidence, 38 for 90 and 90
    (from memory); and 1 - n p^(n-1) + (n-1) p^n, which first exceeds the confidence there."""
    assert (fewest(0.95, 0.95), fewest(0.90, 0.90)) == (93, 38)

    def sure(n: int, p: float) -> float:
        return float(1 - n * p ** (n - 1) + (n - 1) * p**n)

    assert sure(92, 0.95) < 0.95 <= sure(93, 0.95)


def test_the_statistic_of_anderson_and_darling():
    """scipy's own, which knows no adjustment for the number of values."""
    from scipy.stats import anderson

    values = np.random.default_rng(3).normal(5, 2, 40)
    adjusted = 1 + 0.75 / 40 + 2.25 / 40**2
    with pytest.warns(FutureWarning) if _warns() else _quiet():
        theirs = anderson(values).statistic
    assert anderson_darling(values) == pytest.approx(theirs * adjusted)


def _warns() -> bool:
    import scipy

    return tuple(map(int, scipy.__version__.split(".")[:2])) >= (1, 17)


def _quiet():
    import contextlib

    return contextlib.nullcontext()


def test_the_interval_holds_what_it_promises_as_often_as_it_promises():
    dice = np.random.default_rng(7)
    k = normal_factor(12, 0.95, 0.95)
    samples = dice.normal(size=(20_000, 12))
    mean, deviation = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    content = ndtr(mean + k * deviation) - ndtr(mean - k * deviation)
    # 20,000 trials: three standard deviations of the share are 0.0046.
    assert np.mean(content >= 0.95) == pytest.approx(0.95, abs=0.0046)


def test_order_statistics_hold_it_too_whatever_the_distribution():
    dice = np.random.default_rng(8)
    left_out = order_statistics(200, 0.95, 0.95)
    assert left_out is not None
    low, high = left_out
    samples = np.sort(dice.uniform(size=(20_000, 200)), axis=1)
    content = samples[:, 199 - high] - samples[:, low]
    assert np.mean(content >= 0.95) >= 0.95 - 0.0046


def test_which_way_is_taken():
    dice = np.random.default_rng(9)
    assert tolerance_interval(dice.normal(size=200)).way == "normal"
    assert tolerance_interval(dice.exponential(size=200)).way == "order statistics"
    few = tolerance_interval(dice.exponential(size=60))
    assert few.low is None
    assert "93" in few.way
    assert tolerance_interval([1.0] * 7).way == "fewer than 8 values"
    same = tolerance_interval([1.0] * 200)
    assert (same.low, same.high, same.way) == (1.0, 1.0, "order statistics")
