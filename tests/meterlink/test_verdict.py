"""Open, short and out-of-window logic, and the probability and advice beside each verdict."""

from itertools import pairwise
from math import inf, nextafter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from meterlink.errors import NotationError
from meterlink.events import Limit, Verdict
from meterlink.judging.criterion import Criterion
from meterlink.judging.verdict import CLEAR, judge
from meterlink.quantities.budget import Budget, Component
from meterlink.quantities.units import AtReference
from meterlink.quantities.window import Window

# Common practice, no published source: a primary of about 0.7 to 1 ohm, a secondary of about
# 4 to 7 kohm, a switch near zero ohms closed and over range open.
PRIMARY = Criterion.winding(Window(0.7, 1.0))
SECONDARY = Criterion.winding(Window(4e3, 7e3), open_above=100e3, short_below=500.0)
CLOSED = Criterion.closed(2.0)
OPEN = Criterion.open(1e6)


def uncertain(u: float, name: str = "repeatability", dof: float | None = None) -> Budget:
    return Budget((Component(name=name, u=u, dof=dof),))


def verdict(value: float, criterion: Criterion, u: float = 0.0) -> Verdict:
    return judge(AtReference(value), uncertain(u) if u else Budget(), criterion).verdict


@pytest.mark.parametrize(
    ("criterion", "value", "expected"),
    [
        (PRIMARY, 0.0, Verdict.SHORT),
        (PRIMARY, 0.5, Verdict.BELOW),
        (PRIMARY, nextafter(0.7, 0), Verdict.BELOW),
        (PRIMARY, 0.7, Verdict.IN_WINDOW),
        (PRIMARY, 1.0, Verdict.IN_WINDOW),
        (PRIMARY, nextafter(1.0, 2), Verdict.ABOVE),
        (PRIMARY, 15.0, Verdict.ABOVE),
        (PRIMARY, 300e3, Verdict.OPEN),
        (PRIMARY, inf, Verdict.OPEN),
        (SECONDARY, 499.0, Verdict.SHORT),
        (SECONDARY, 500.0, Verdict.BELOW),
        (SECONDARY, 5e3, Verdict.IN_WINDOW),
        (SECONDARY, 12e3, Verdict.ABOVE),
        (SECONDARY, 100e3, Verdict.ABOVE),
        (SECONDARY, 101e3, Verdict.OPEN),
        (CLOSED, 0.3, Verdict.IN_WINDOW),
        (CLOSED, 2.0, Verdict.IN_WINDOW),
        (CLOSED, 40.0, Verdict.ABOVE),
        (CLOSED, 2e6, Verdict.OPEN),
        (CLOSED, inf, Verdict.OPEN),
        (OPEN, 0.3, Verdict.SHORT),
        (OPEN, 200e3, Verdict.BELOW),
        (OPEN, 1e6, Verdict.OPEN),
        (OPEN, inf, Verdict.OPEN),
    ],
)
def test_every_value_has_its_verdict(criterion, value, expected):
    judgement = judge(AtReference(value), Budget(), criterion)
    assert judgement.verdict is expected
    assert judgement.probability == 1.0
    assert judgement.clear


@pytest.mark.parametrize(
    ("criterion", "good"),
    [
        (PRIMARY, Verdict.IN_WINDOW),
        (CLOSED, Verdict.IN_WINDOW),
        (OPEN, Verdict.OPEN),
        (Criterion.part(Window(0.2, 0.6, "volt")), Verdict.IN_WINDOW),
    ],
)
def test_only_the_hoped_for_verdict_passes(criterion, good):
    passing = {
        judge(AtReference(value), Budget(), criterion).verdict
        for value in (0.0, 0.1, 0.5, 0.8, 5.0, 1e4, 5e6, inf)
        if judge(AtReference(value), Budget(), criterion).passes
    }
    assert passing == {good}


def test_a_body_across_the_tips_is_an_open_winding_not_a_high_one():
    # Skin lets some 10 kohm to a megohm through: common practice, no published source.
    assert {verdict(ohms, PRIMARY) for ohms in (20e3, 100e3, 1e6)} == {Verdict.OPEN}


def test_a_voltage_knows_neither_open_nor_short():
    diode = Criterion.part(Window(0.2, 0.6, "volt"))
    assert verdict(-0.5, diode) is Verdict.BELOW
    assert verdict(inf, diode) is Verdict.ABOVE
    assert judge(AtReference(-0.5), uncertain(0.01), diode).clear


def test_the_probability_is_that_of_jcgm_106():
    # 7.4, oil viscosity: 13.6 within 12.5 to 16.3, u = 1.8, prints 0.66.
    viscosity = Criterion.part(Window(12.5, 16.3, "volt"))
    judgement = judge(AtReference(13.6), uncertain(1.8), viscosity)
    assert round(judgement.probability, 2) == 0.66
    assert not judgement.clear
    # 7.3.3 example 1, breakdown voltage: -5.47 below -5.40, u = 0.05, prints 0.92.
    diode = Criterion.part(Window(None, -5.40, "volt"))
    assert round(judge(AtReference(-5.47), uncertain(0.05), diode).probability, 2) == 0.92


def test_clear_begins_at_95_percent():
    # Table 1 of 7.3.3: z = 1.64 (1.645) for 0.95.
    upper = Criterion.part(Window(None, 1.0, "volt"))
    assert judge(AtReference(1.0 - 1.65 * 0.1), uncertain(0.1), upper).clear
    assert not judge(AtReference(1.0 - 1.64 * 0.1), uncertain(0.1), upper).clear


def test_few_readings_make_a_verdict_less_sure():
    many = judge(AtReference(0.95), uncertain(0.025), PRIMARY).probability
    few = judge(AtReference(0.95), uncertain(0.025, dof=3.0), PRIMARY).probability
    assert few < CLEAR < many


@pytest.mark.parametrize(
    ("name", "limit", "word"),
    [
        ("repeatability", Limit.NOISE, "hold longer"),
        ("resolution", Limit.RESOLUTION, "finer range"),
        ("meter", Limit.METER, "finer range"),
        ("leads", Limit.LEADS, "four wires"),
        ("temperature", Limit.TEMPERATURE, "room temperature"),
        ("series", Limit.SERIES, "Take it off"),
    ],
)
def test_a_close_verdict_says_what_limits_and_what_would_help(name, limit, word):
    judgement = judge(AtReference(1.005), uncertain(0.01, name), PRIMARY)
    assert judgement.verdict is Verdict.ABOVE
    assert judgement.limit is limit
    assert "high limit, 1 Ω" in judgement.advice
    assert word in judgement.advice
    assert ("holding longer will not help" in judgement.advice) == (limit is not Limit.NOISE)
    assert judgement.advice.count(". ") == 1


def test_a_clear_verdict_needs_no_advice():
    assert judge(AtReference(0.85), uncertain(0.01), PRIMARY).advice == ""


@pytest.mark.parametrize(
    ("value", "name"),
    [
        (0.0701, "short limit"),
        (0.6999, "low limit"),
        (1.0001, "high limit"),
        (10.001e3, "open limit"),
    ],
)
def test_advice_names_the_edge_that_is_near(value, name):
    judgement = judge(AtReference(value), uncertain(value / 100), PRIMARY)
    assert name in judgement.advice


def test_a_hair_below_zero_is_still_a_short_or_a_closed_switch():
    assert judge(AtReference(-0.002), uncertain(0.004), PRIMARY).clear
    closed = judge(AtReference(-0.002), uncertain(0.004), CLOSED)
    assert (closed.verdict, closed.clear) == (Verdict.IN_WINDOW, True)


def test_far_below_zero_cannot_be_and_is_said_so():
    judgement = judge(AtReference(-0.5), uncertain(0.004), PRIMARY)
    assert not judgement.clear
    assert "No resistance is below zero" in judgement.advice
    assert "ignition is off" in judgement.advice


@pytest.mark.parametrize(("below", "can_be"), [(1.9, True), (2.0, False)])
def test_what_lies_below_zero_by_more_than_its_expanded_uncertainty_cannot_be(below, can_be):
    """1.96 standard uncertainties leave 2.5 % of a normal distribution on one side."""
    judgement = judge(AtReference(-below * 0.01), uncertain(0.01), CLOSED)
    assert judgement.impossible is not can_be
    assert judgement.clear is can_be


def test_a_resistance_is_zero_or_more_so_what_lies_below_is_shared_out():
    """A normal distribution cut off at zero, as by ``scipy.stats.truncnorm``."""
    known = stats.truncnorm(-0.5, inf, loc=0.1, scale=0.2)
    shorted = Criterion.winding(Window(0.7, 1.0), short_below=0.2)
    judgement = judge(AtReference(0.1), uncertain(0.2), shorted)
    assert judgement.probability == pytest.approx(known.cdf(0.2), abs=1e-9)


def test_a_window_given_by_hand_is_a_windings_as_found():
    window = Window(0.7, 1.0)
    assert Criterion.given(window) == Criterion.winding(window, reference=None)
    assert Criterion.given(window, temperature_known=True).reference == 20.0
    assert Criterion.given(window, reference=25.0, temperature_known=True).reference == 25.0
    volts = Window(0.2, 0.6, "volt")
    assert Criterion.given(volts, temperature_known=True) == Criterion.part(volts)


def test_limits_that_contradict_the_window_are_refused():
    with pytest.raises(NotationError, match="open"):
        Criterion.winding(Window(0.7, 1.0), open_above=0.9)
    with pytest.raises(NotationError, match="short"):
        Criterion.winding(Window(0.7, 1.0), short_below=0.8)
    with pytest.raises(NotationError, match="upside down"):
        Window(1.0, 0.7)
    with pytest.raises(NotationError):
        Window(None, None)
    with pytest.raises(NotationError):
        Window(float("nan"), 1.0)


CRITERIA = st.sampled_from([PRIMARY, SECONDARY, CLOSED, OPEN])
VALUES = st.floats(0.0, 1e7)


@given(
    criterion=CRITERIA, value=VALUES, share=st.floats(1e-6, 1.0), dof=st.none() | st.floats(1, 99)
)
def test_the_probabilities_of_all_verdicts_sum_to_one(criterion, value, share, dof):
    judgement = judge(AtReference(value), uncertain(value * share + 1e-6, dof=dof), criterion)
    assert sum(judgement.probabilities.values()) == pytest.approx(1.0)
    assert judgement.probability == judgement.probabilities[judgement.verdict]
    assert judgement.clear == (judgement.probability >= 0.95)
    assert bool(judgement.advice) != judgement.clear


@given(
    low=st.floats(0.01, 1e4),
    width=st.floats(1.0, 3.0),
    at=st.floats(0.0, 5.0),
    share=st.floats(0.001, 0.3),
)
def test_ten_times_everything_gives_the_same_answer(low, width, at, share):
    def judged(scale: float):
        window = Window(scale * low, scale * low * width)
        limits = {"open_above": scale * low * 40, "short_below": scale * low / 10}
        value = AtReference(scale * low * at)
        return judge(value, uncertain(scale * low * share), Criterion.winding(window, **limits))

    one, ten = judged(1.0), judged(10.0)
    assert ten.probability == pytest.approx(one.probability, abs=1e-9) or at in (0.1, 1.0, width)
    assert ten.verdict is one.verdict or one.probability == pytest.approx(0.5, abs=0.01)


@given(criterion=CRITERIA, value=VALUES, u=st.floats(1e-3, 1e3), more=st.floats(1.0, 10.0))
def test_more_uncertainty_never_makes_a_one_sided_verdict_surer(criterion, value, u, more):
    last = criterion.regions[-1]
    if not criterion.regions[-2].reaches(value):  # so it lies in the last region, open to infinity
        sure = judge(AtReference(value), uncertain(u), criterion).probabilities[last.verdict]
        less = judge(AtReference(value), uncertain(u * more), criterion)
        assert less.probabilities[last.verdict] <= sure + 1e-12


@given(criterion=CRITERIA)
def test_regions_hold_every_value_once(criterion):
    regions = criterion.regions
    assert regions[0].low == -inf
    assert regions[-1].high == inf
    for before, after in pairwise(regions):
        assert before.high == after.low
    assert len({region.verdict for region in regions}) == len(regions)


def test_not_a_number_has_no_verdict():
    with pytest.raises(ValueError, match="not-a-number"):
        Criterion.closed(2.0).verdict(float("nan"))
