"""A measured value in the finding: nothing jumps at a limit, and far above is not a little above.

The window of the primary is that of the demonstration profile. That a corroded joint reads high is
common practice, no published source.
"""

from itertools import pairwise
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from meterlink.finding.find import find
from meterlink.finding.model import Model
from meterlink.finding.outcomes import Measured, densities, record
from meterlink.finding.posterior import Belief
from meterlink.finding.table import shipped_table

MODEL = Model(shipped_table(), "no-spark")


def primary(value: float, u: float = 0.01) -> Measured:
    return Measured(value=value, u=u, low=0.75, high=0.95)


def places(check: str, measured: Measured) -> dict[str, float]:
    said = {"spark-at-gap": "no", check: measured}
    shares = MODEL.by_place(Belief(MODEL, record(MODEL, said).evidence).shares)
    return dict(zip(MODEL.places, map(float, shares), strict=True))


@given(st.floats(0.01, 1e7), st.floats(1e-3, 0.05))
@settings(deadline=None, max_examples=80)
def test_a_value_a_thousandth_higher_moves_no_probability_by_more_than_two_percent(value, u):
    for check, window in (("primary-resistance", (0.75, 0.95)), ("lead-resistance", (0.0, 5.0))):
        low, high = window
        one, other = (
            places(check, Measured(value=v, u=u * max(v, low), low=low, high=high))
            for v in (value, value * 1.001)
        )
        assert all(abs(one[place] - other[place]) < 0.02 for place in MODEL.places)


def test_a_verdict_jumps_at_its_limit_and_a_value_does_not():
    """As verdicts, 4.95 and 5.05 ohm of a lead are two boxes; as values as good as one."""
    lead = [Measured(value=v, u=0.05, low=0.0, high=5.0) for v in (4.95, 5.05)]
    just_in, just_out = (places("lead-resistance", one)["plug lead or cap"] for one in lead)
    assert abs(just_in - just_out) < 0.01
    boxes = [
        find({"spark-at-gap": "no", "lead-resistance": box}, "no-spark")
        for box in ("in-window", "above")
    ]
    by_box = [{p.place: p.probability for p in f.places}["plug lead or cap"] for f in boxes]
    assert by_box[1] - by_box[0] > 0.3


def test_far_above_is_not_a_little_above():
    little, far = (places("primary-resistance", primary(v))["armature"] for v in (1.0, 30.0))
    assert far > little + 0.1


def test_over_range_is_the_verdict_open():
    value = places("primary-resistance", primary(inf))
    verdict = find({"spark-at-gap": "no", "primary-resistance": "open"}, "no-spark")
    assert value == pytest.approx({p.place: p.probability for p in verdict.places})


def test_a_value_that_is_odd_whatever_is_wrong_is_said_to_be_so():
    found = find({"spark-at-gap": "no", "primary-resistance": primary(-0.5)}, "no-spark")
    assert any("is odd, whatever is wrong" in sentence for sentence in found.sentences)
    usual = find({"spark-at-gap": "no", "primary-resistance": primary(0.85)}, "no-spark")
    assert not any("is odd, whatever is wrong" in sentence for sentence in usual.sentences)


@pytest.mark.parametrize(("low", "high"), [(0.75, 0.95), (4500.0, 6500.0), (0.5, 5.0)])
def test_every_density_integrates_to_one_or_its_share(low, high):
    """By a general-purpose quadrature (scipy): all but a tenth of the breaks read over range."""
    middle = (low + high) / 2
    edges = np.concatenate(
        [[-middle], np.linspace(-0.2, 3.0, 40) * middle, np.geomspace(3.1, 1e10, 60) * middle]
    )
    for verdict, whole in {
        "in-window": 1.0,
        "below": 1.0,
        "above": 1.0,
        "short": 1.0,
        "open": 0.1,
    }.items():

        def density(value, verdict=verdict):
            one = Measured(value=float(value), u=middle / 100, low=low, high=high)
            return densities(one)[0][verdict]

        total = sum(quad(density, a, b, limit=60)[0] for a, b in pairwise(edges))
        assert total == pytest.approx(whole, rel=0.03), verdict


# --- gap, insulation, and two touches ---------------------------------------------------------

GAP = {"low": 0.25e-3, "high": 0.36e-3, "u": 1.5e-5, "gap": True}


@given(st.floats(0.02e-3, 3e-3))
@settings(deadline=None, max_examples=60)
def test_a_gap_a_thousandth_wider_moves_no_probability_by_more_than_two_percent(value):
    one, other = (places("air-gap", Measured(value=each, **GAP)) for each in (value, value * 1.001))
    assert all(abs(one[place] - other[place]) < 0.02 for place in MODEL.places)


def test_a_gap_far_too_wide_says_more_than_one_a_little_out():
    sound, a_little, far = (
        places("air-gap", Measured(value=each, **GAP))["air gap"]
        for each in (0.30e-3, 0.39e-3, 1.2e-3)
    )
    assert sound < a_little < far
    assert sound < 0.05
    assert far > 0.3


@given(st.floats(2e3, 1e9))
@settings(deadline=None, max_examples=60)
def test_an_insulation_a_thousandth_higher_moves_no_probability_by_more_than_two_percent(value):
    one, other = (
        places("insulation", Measured(value=each, u=0.02 * each, low=1e7, high=inf))
        for each in (value, value * 1.001)
    )
    assert all(abs(one[place] - other[place]) < 0.02 for place in MODEL.places)


def test_insulation_over_range_is_good_and_one_far_below_its_least_is_not():
    def leaks(value: float) -> float:
        return places("insulation", Measured(value=value, u=0.0, low=1e7, high=inf))["armature"]

    over_range, near, far = leaks(inf), leaks(0.9e7), leaks(5e4)
    assert over_range < near < far


@pytest.mark.parametrize("least", [1e6, 1e7])
def test_the_densities_of_an_insulation_integrate_to_their_shares(least):
    """Each is a density over the logarithm: quad of scipy, over all that a meter can show."""

    def at(verdict: str):
        def density(log_value: float) -> float:
            found, _ = densities(
                Measured(value=float(np.exp(log_value)), u=0.0, low=least, high=inf)
            )
            return found[verdict]

        return density

    ends = (np.log(10.0), np.log(1e13))
    middle = [np.log(1e3), np.log(least), np.log(1e4 * least)]
    assert quad(at("below"), *ends, points=middle, limit=400)[0] == pytest.approx(1.0, abs=0.01)
    assert quad(at("in-window"), *ends, points=middle, limit=400)[0] == pytest.approx(0.2, abs=0.01)


def test_two_touches_that_agree_are_less_likely_a_slip_than_one():
    odd = {
        twice: find(
            {
                "spark-at-gap": "yes",
                "primary-resistance": Measured(value=inf, u=0.0, low=0.75, high=0.95, twice=twice),
            },
            "no-spark",
        )
        for twice in (False, True)
    }
    wrong = {
        twice: sum(each.probability for each in found.odd if each.check == "primary-resistance")
        for twice, found in odd.items()
    }
    armature = {
        twice: {p.place: p.probability for p in found.places}["armature"]
        for twice, found in odd.items()
    }
    assert wrong[True] < wrong[False]
    assert armature[True] > armature[False]
