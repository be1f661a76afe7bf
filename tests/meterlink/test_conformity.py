"""The probability of conformity, against the worked numbers of JCGM 106:2012."""

from math import inf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from meterlink.judging.verdict import probabilities_between
from meterlink.quantities.budget import Budget, Component, coverage_factor


def probability_between(
    estimate: float, u: float, low: float = -inf, high: float = inf, dof: float = inf
) -> float:
    """Return the probability that the true value lies from ``low`` to ``high``, of one source."""
    source = Component(name="u", u=u, dof=None if dof == inf else dof)
    return probabilities_between(estimate, Budget((source,)), (low, high))[1]


@pytest.mark.parametrize(
    ("probability", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_7_3_3_table_1(probability, z):
    # z is rounded to two digits there; the probability at its rounding limits brackets the row's.
    assert probability_between(0.0, 1.0, high=z - 0.005) <= probability
    assert probability <= probability_between(0.0, 1.0, high=z + 0.005)


def test_7_3_3_example_1_breakdown_voltage_of_a_diode():
    assert round(probability_between(-5.47, 0.05, high=-5.40), 2) == 0.92


def test_7_4_example_oil_viscosity_two_sided():
    assert round(probability_between(13.6, 1.8, 12.5, 16.3), 2) == 0.66


def test_8_3_1_2_at_the_limit_it_is_one_half():
    assert probability_between(1.0, 0.1, high=1.0) == pytest.approx(0.5)


def test_8_3_2_3_guard_band_of_the_expanded_uncertainty():
    # y at the acceptance limit, w = U = 2u below the tolerance limit: at most 2.3 %.
    assert round(100 * (1 - probability_between(1.0 - 2 * 0.1, 0.1, high=1.0)), 1) == 2.3


def test_8_3_3_example_2_few_readings():
    # t(0.95, 9) = 1.83, s = 0.20 µg/L: guard band 0.37, acceptance limit 2.37.
    t = coverage_factor(9, 0.90)
    assert round(t, 2) == 1.83
    acceptance = 2.00 + t * 0.20
    assert round(acceptance, 2) == 2.37
    assert probability_between(acceptance, 0.20, low=2.00, dof=9) == pytest.approx(0.95)


def test_9_5_3_2_precision_resistors():
    """Global risks of a production line, integrated over what the meter may show.

    For each indication the true value has the posterior of A.4.4; acceptance from 1499.82 to
    1500.18 ohm; the printed results are R_C 0.01 and R_P 0.07, 84 accepted of 100.
    """
    made, u0, u_m = 1500.0, 0.12, 0.04
    u = u0 * u_m / sqrt(u0**2 + u_m**2)
    spread = sqrt(u0**2 + u_m**2)
    shown = np.linspace(made - 8 * spread, made + 8 * spread, 4001)
    weight = stats.norm.pdf(shown, made, spread) * (shown[1] - shown[0])
    best = (made / u0**2 + shown / u_m**2) * u**2
    good = np.array([probability_between(y, u, 1499.8, 1500.2) for y in best])
    accepted = (shown >= 1499.82) & (shown <= 1500.18)
    assert round(float(weight[accepted].sum()), 2) == pytest.approx(0.84, abs=0.01)
    assert round(float((weight * (1 - good))[accepted].sum()), 2) == 0.01
    assert round(float((weight * good)[~accepted].sum()), 2) == 0.07
    assert round(float((weight * good).sum()), 2) == 0.90


@pytest.mark.parametrize(("k", "percent"), [(1, 68.3), (2, 95.5), (3, 99.7)])
def test_a_3_1_one_two_three_standard_deviations(k, percent):
    # 95.45 is printed as 95.5.
    found = 100 * probability_between(0.0, 1.0, -k, k)
    assert found == pytest.approx(percent, abs=0.051)


@pytest.mark.parametrize(("share", "risk"), [(1.5, 0.16), (1.0, 2.5), (0.83, 5.0)])
def test_guard_bands_of_ilac_g8(share, risk):
    # ILAC-G8:09/2019 as laboratories repeat its table: risks below these percentages.
    u = 0.5
    outside = 100 * (1 - probability_between(-share * 2 * u, u, high=0.0))
    assert outside < risk


FINITE = st.floats(-1e3, 1e3)


@given(y=FINITE, u=st.floats(1e-3, 1e3), a=FINITE, b=FINITE, dof=st.floats(1, 1e4))
def test_it_is_scipys_distribution_between_the_limits(y, u, a, b, dof):
    low, high = min(a, b), max(a, b)
    for ours, theirs in (
        (probability_between(y, u, low, high), stats.norm(y, u)),
        (probability_between(y, u, low, high, dof), stats.t(dof, y, u)),
    ):
        assert ours == pytest.approx(theirs.cdf(high) - theirs.cdf(low), abs=1e-9)


@given(y=FINITE, u=st.floats(0, 1e3), edge=FINITE, dof=st.floats(1, 1e4) | st.just(inf))
def test_what_is_not_below_is_above(y, u, edge, dof):
    whole = probability_between(y, u, high=edge, dof=dof) + probability_between(
        y, u, low=edge, dof=dof
    )
    assert whole == pytest.approx(1.0)


def test_far_tails_keep_their_digits():
    above = probability_between(0.0, 1.0, low=10.0, high=11.0)
    assert above == pytest.approx(stats.norm.sf(10.0) - stats.norm.sf(11.0), rel=1e-9, abs=0)


def test_without_uncertainty_the_limits_belong_to_the_interval():
    assert probability_between(1.0, 0.0, 0.7, 1.0) == 1.0
    assert probability_between(1.0000001, 0.0, 0.7, 1.0) == 0.0


def test_what_cannot_be_less_than_a_floor_is_shared_out_above_it():
    """A normal distribution cut off at zero, as by ``scipy.stats.truncnorm``."""
    budget = Budget((Component(name="u", u=1.0),))
    known = stats.truncnorm(-0.5, inf, loc=0.5, scale=1.0)
    below, middle, above = probabilities_between(0.5, budget, (-1.0, 1.0), floor=0.0)
    assert below == 0.0
    assert middle == pytest.approx(known.cdf(1.0), abs=1e-12)
    assert above == pytest.approx(known.sf(1.0), abs=1e-12)


def test_where_nothing_is_above_the_floor_the_stretch_above_it_has_all():
    budget = Budget((Component(name="u", u=1e-3),))
    assert probabilities_between(-5.0, budget, (0.0, 1.0), floor=0.0) == [0.0, 1.0, 0.0]
