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
