"""What never comes to rest: noise, contacts that jump, values that move; what is stated of them."""

import random
from math import exp, sqrt

import numpy as np
import pytest
from scipy import stats

from meterlink.events import Contact, Held, Lift, Noise
from meterlink.hold.following import has_turned
from meterlink.hold.wandering import factor, memory_likelihood, weigh
from meterlink.wording import remark_on
from tests.traces import restless, unseen
from tests.traces.score import holds_of
from tests.traces.stated import Stated, half_width
from tests.traces.streams import HoldDetector, air, events, holds, noisy, readings


def test_a_closed_switch_is_held_whatever_its_noise() -> None:
    poor = 0
    for seed in range(40):
        stream = [*air(5), *noisy(0.36, 10, 0.007, seed, step=0.001), *air(5)]
        held = holds(readings(stream, resolution=0.001))
        assert held
        assert abs(held[-1].value - 0.36) < 0.014
        for said in held:
            poor += said.poor
            assert said.poor == ("Press harder or clean the spot." in remark_on(said))
    assert poor >= 36


def test_two_levels_are_one_hold_whose_interval_spans_them() -> None:
    low, high = noisy(0.90, 10, 0.0005, 1, step=0.001), noisy(0.95, 10, 0.0005, 2, step=0.001)
    held = holds(readings([*low, *high], resolution=0.001))
    assert [h.revises for h in held] == [False, True]
    last = held[-1]
    assert last.origin is Noise.JUMPING
    for level in (0.90, 0.95):
        assert abs(last.value - level) <= half_width(last)
    assert "jumps" in remark_on(last)


def test_a_poor_contact_is_held_as_the_probes_leave_where_the_touch_is_short() -> None:
    poor = [*air(5), *noisy(0.36, 14, 0.007, 4, step=0.001), *air(5)]
    said = events(readings(poor, rate=10.0, resolution=0.001))
    contact, held, lift = said
    assert isinstance(contact, Contact)
    assert isinstance(held, Held)
    assert isinstance(lift, Lift)
    assert held.poor
    assert held.t == lift.t
    assert lift.held
    assert abs(held.value - 0.36) < 0.014


def test_a_contact_that_gets_better_just_before_the_lift_is_in_the_interval() -> None:
    high = noisy(0.95, 20, 0.0005, 1, step=0.001)
    first, last = holds(readings([*high, 0.9, 0.901, *air(5)], rate=10.0, resolution=0.001))
    assert last.revises
    assert abs(last.value - 0.9) <= half_width(last)
    assert abs(last.value - first.value) <= half_width(last)
    # What rises before the lift is the probe leaving, and one reading alone is an outlier.
    for leaving in ([1.0, 1.001], [0.9]):
        assert len(holds(readings([*high, *leaving, *air(5)], rate=10.0, resolution=0.001))) == 1


@pytest.mark.parametrize("tau", [5.0, 20.0, 60.0])
def test_what_creeps_is_stated_again_until_the_lift(tau: float) -> None:
    rng = random.Random(3)
    course = [0.9 + 0.1 * exp(-i / 10 / tau) + rng.gauss(0, 2e-4) for i in range(200)]
    held = holds(readings([round(v, 3) for v in course], rate=10.0, resolution=0.001))
    assert sum(not h.revises for h in held) == 1
    assert len(held) > 1
    assert abs(held[-1].value - course[-1]) <= half_width(held[-1])
    moving = [h for h in held if h.slope]
    assert all(h.slope < 0 for h in moving)
    assert "falls" in remark_on(moving[-1])
    assert "the part cools, or the contact gets better" in remark_on(moving[-1])


def test_pressure_that_falls_before_the_lift_does_not_revise() -> None:
    good = noisy(0.9, 12, 2e-4, 1, step=0.001)
    worse = [round(0.9 + 0.08 * (i / 6) ** 2, 3) for i in range(1, 7)]
    assert len(holds(readings([*good, *worse, *air(5)], rate=10.0, resolution=0.001))) == 1


@pytest.mark.parametrize("dof", [2, 3, 5, 10, 30])
def test_students_factor_is_near_that_of_tables(dof: int) -> None:
    # Against scipy.stats.t.
    assert factor(dof) == pytest.approx(stats.t.ppf(0.975, dof), rel=0.05)


def test_a_known_memory_is_weighed_as_generalised_least_squares_does() -> None:
    # A long run, where the memory shows: against the best linear estimate by numpy.
    rng, rho, n = np.random.default_rng(5), 0.9, 60
    ratios = []
    for _ in range(40):
        y = np.empty(n)
        y[0] = rng.standard_normal()
        for i in range(1, n):
            y[i] = rho * y[i - 1] + sqrt(1 - rho**2) * rng.standard_normal()
        cov = rho ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        known = 1.96 / sqrt(np.linalg.inv(cov).sum())
        ratios.append(weigh(y.tolist(), 0.1, 0.3, 1e-4).half / known)
    assert 0.6 < float(np.median(ratios)) < 1.5


def test_the_likelihood_of_a_memory_is_that_of_a_normal_distribution() -> None:
    # Against scipy.stats.multivariate_normal, at the generalised mean and the likeliest variance.
    y = np.array([1.0, 1.3, 1.2, 0.8, 0.7, 0.9, 1.4, 1.5])
    n, best = y.size, []
    for rho in (0.35, 0.6, 0.78, 0.9, 0.96):
        shape = rho ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        inverse = np.linalg.inv(shape)
        mean = (inverse @ y).sum() / inverse.sum()
        variance = (y - mean) @ inverse @ (y - mean) / n
        best.append(stats.multivariate_normal(np.full(n, mean), variance * shape).logpdf(y))
    expected = max(best) + n / 2 * (1 + np.log(2 * np.pi))
    assert memory_likelihood(y.tolist()) == pytest.approx(expected)


def test_a_contact_that_goes_there_and_back_is_held_before_either_level_lasts() -> None:
    jumps = [1.0, 0.982, 1.0, 0.982, 0.982, 1.0, 0.982, 1.0]
    held = holds(readings([*air(5), *jumps, *air(5)], rate=2.5, resolution=0.001))
    assert held
    assert held[-1].origin is Noise.JUMPING
    assert abs(held[-1].value - 0.991) <= 0.002


def test_a_value_of_poor_contact_is_within_two_deviations_of_a_part_that_it_only_adds_to() -> None:
    rng = random.Random(4)
    far = 0
    for _ in range(60):
        course = [round(1.0 + 0.03 * abs(rng.gauss(0, 1)), 3) for _ in range(12)]
        held = holds(readings([*air(5), *course, *air(5)], resolution=0.001))
        far += any(abs(h.value - 1.0) > 2 * np.std(course) for h in held)
    assert far <= 3


@pytest.mark.parametrize(
    ("course", "turned"),
    [
        ([1.0, 1.1, 1.3, 1.6], False),
        ([1.0, 1.1, 1.6, 1.3], False),
        ([1.0, 1.6, 1.3, 1.2], True),
        ([1.0, 0.5, 0.9, 0.9], True),
        ([1.0, 0.9, 0.6, 0.3], False),
    ],
)
def test_only_where_neither_of_the_newest_two_leads_has_a_value_turned(
    course: list[float], turned: bool
) -> None:
    assert has_turned(course, 1.0) is turned


def test_white_noise_is_weighed_as_students_interval_does() -> None:
    rng = np.random.default_rng(6)
    ratios = []
    for _ in range(40):
        y = rng.standard_normal(40)
        plain = stats.t.ppf(0.975, 39) * y.std(ddof=1) / sqrt(40)
        ratios.append(weigh(y.tolist(), 0.2, 0.3, 1e-4).half / plain)
    assert 0.95 < float(np.median(ratios)) < 1.4


@pytest.mark.parametrize("made", [restless, unseen])
def test_few_restless_touches_are_missed_and_most_intervals_hold(made) -> None:  # type: ignore[no-untyped-def]
    out = Stated()
    for family in made.RESTLESS:
        for seed in range(600_000, 600_040):
            touch = made.touch(seed, family)
            if len(touch.readings) < 2000:
                out.add(seed, touch, holds_of(HoldDetector().feed, touch.readings))
    assert sum(out.missed.values()) <= 0.02 * sum(out.due.values())
    assert sum(out.doubled.values()) <= 1
    assert sum(out.inside.values()) >= 0.88 * sum(out.held.values())
