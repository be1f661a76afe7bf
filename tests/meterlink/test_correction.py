"""Leads and the temperature of copper, against published worked examples."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.errors import NotationError
from meterlink.judging.correction import (
    REFERENCE,
    UNKNOWN_TEMPERATURE,
    LeadZero,
    Temperature,
    as_found,
    at_reference,
    copper_ratio,
    winding_temperature,
    with_leads,
    without_leads,
)
from meterlink.quantities.units import AsRead, AtReference, LeadCorrected

AMERICAN = 234.5
"""The k of North American practice, which the examples below were worked with."""


@pytest.mark.parametrize(
    ("ohms", "celsius", "to", "k", "printed", "step"),
    [
        # A course text in electrotechnology, examples 1 and 2; the first prints 41.49 because it
        # rounds the ratio to 1.2204 on the way, exact 41.495.
        (34.0, 15.0, 70.0, AMERICAN, 41.49, 0.011),
        (0.241, 20.0, 75.0, AMERICAN, 0.293, 0.001),
        # A circuits textbook, problem 23 of section 3.5.
        (2.0, 10.0, 60.0, AMERICAN, 2.409, 0.001),
        # An introductory circuits textbook, from memory.
        (50.0, 20.0, 100.0, AMERICAN, 65.72, 0.01),
        (30.0, 0.0, -40.0, AMERICAN, 24.88, 0.01),
    ],
)
def test_worked_examples_of_copper(ohms, celsius, to, k, printed, step):
    assert at_reference(LeadCorrected(ohms), celsius, to, k=k) == pytest.approx(
        printed, abs=step / 2
    )


def test_temperature_by_resistance_as_iec_60034_1_has_it():
    # A worked example to IEC 60034-1: 200 mΩ at 20 °C, 210 mΩ after the run.
    warm = winding_temperature(LeadCorrected(0.210), LeadCorrected(0.200), 20.0)
    assert warm == pytest.approx(32.75, abs=0.005)
    assert warm - 25.0 == pytest.approx(7.75, abs=0.005)


@pytest.mark.parametrize(
    ("celsius", "factor"),
    [(40, 1.058), (50, 1.096), (75, 1.193), (85, 1.231), (100, 1.289), (150, 1.482), (200, 1.674)],
)
def test_a_printed_table_of_factors_from_25_degrees(celsius, factor):
    # A table of multiplying factors for copper, computed there with k = 234.5.
    assert copper_ratio(25.0, celsius, AMERICAN) == pytest.approx(factor, abs=0.0005)


def test_the_two_ks_in_use_hardly_differ_on_a_bench():
    for celsius in range(41):
        ours, theirs = copper_ratio(celsius, 20.0), copper_ratio(celsius, 20.0, AMERICAN)
        assert ours == pytest.approx(theirs, rel=2e-4)


def test_the_temperature_coefficient_at_20_degrees_is_that_of_iec_60028():
    # IEC 60028: 0.00393 per kelvin at 20 °C; 1/255 = 0.003922 rounds to within 0.3 %.
    assert copper_ratio(20.0, 21.0) - 1 == pytest.approx(0.00393, rel=3e-3)


RESISTANCES = st.floats(1e-3, 1e6)
TEMPERATURES = st.floats(-40.0, 150.0)


@given(ohms=RESISTANCES, celsius=TEMPERATURES, to=TEMPERATURES, series=st.floats(0, 1e4))
def test_as_found_undoes_at_reference(ohms, celsius, to, series):
    winding = at_reference(LeadCorrected(ohms), celsius, to, series=series)
    back = as_found(winding, celsius, to, series=series)
    assert back == pytest.approx(ohms, rel=1e-9, abs=1e-9 * series)


@given(ohms=RESISTANCES, zero=st.floats(0, 2))
def test_with_leads_undoes_without_leads(ohms, zero):
    leads = LeadZero(value=zero)
    assert with_leads(without_leads(AsRead(ohms), leads), leads) == pytest.approx(ohms, rel=1e-12)


@given(winding=RESISTANCES, cold=TEMPERATURES, hot=TEMPERATURES)
def test_a_temperature_comes_back_out_of_the_resistance_it_makes(winding, cold, hot):
    then = as_found(AtReference(winding), cold)
    now = as_found(AtReference(winding), hot)
    assert winding_temperature(now, then, cold) == pytest.approx(hot, abs=1e-6)


def test_no_temperature_without_two_resistances():
    with pytest.raises(NotationError):
        winding_temperature(LeadCorrected(0.0), LeadCorrected(1.0), 20.0)


def test_a_temperature_out_of_any_sense_is_refused():
    with pytest.raises(NotationError, match="no temperature of a winding"):
        Temperature(celsius=-300.0)
    with pytest.raises(NotationError):
        Temperature(celsius=float("nan"))


@pytest.mark.parametrize(
    ("typed", "own", "reading", "digit"),
    [
        (True, 0.1, 0.001, 0.001),  # 0.1 may stand for 0.100
        (True, 0.001, 0.1, 0.001),
        (True, 0.0, 0.01, 0.01),
        (True, 0.1, 0.0, 0.1),
        (False, 0.1, 0.001, 0.1),
        (False, 0.0, 0.001, 0.001),
    ],
)
def test_the_digit_of_a_lead_zero_is_its_own_unless_it_was_typed_or_is_not_known(
    typed, own, reading, digit
):
    assert LeadZero(value=0.1, resolution=own, typed=typed).digit(reading) == digit


@pytest.mark.parametrize(("celsius", "can_be"), [(300.0, True), (301.0, False), (-101.0, False)])
def test_a_winding_is_neither_colder_nor_hotter_than_any_is(celsius, can_be):
    if can_be:
        assert Temperature(celsius=celsius, half_width=0.0).celsius == celsius
        return
    with pytest.raises(NotationError, match="no temperature of a winding"):
        Temperature(celsius=celsius, half_width=0.0)


def test_a_lead_zero_and_a_temperature_are_what_somebody_took_unless_they_say_otherwise():
    assert not LeadZero(value=0.1).typed
    assert LeadZero(value=0.1).resolution == 0.0
    assert LeadZero(value=0.1).u == 0.0
    assert Temperature(celsius=20.0).known
    assert Temperature(celsius=20.0).half_width == 2.0
    assert not UNKNOWN_TEMPERATURE.known
    assert REFERENCE == 20.0  # degrees Celsius, as IEC 60228 states resistances of copper


@pytest.mark.parametrize("celsius", [-98.0, 298.0])
def test_all_that_a_temperature_may_be_is_one_of_a_winding(celsius):
    with pytest.raises(NotationError, match="no temperature of a winding"):
        Temperature(celsius=celsius, half_width=5.0)


def test_nobody_took_it_means_a_bench_between_freezing_and_forty_degrees():
    middle, half = UNKNOWN_TEMPERATURE.celsius, UNKNOWN_TEMPERATURE.half_width
    assert (middle - half, middle + half) == (0.0, 40.0)
