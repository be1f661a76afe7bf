"""The meter check: colour bands, the known resistor and the control chart."""

from math import inf, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.errors import NotationError
from meterlink.events import Held
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assumed import NOTHING_ASSUMED
from meterlink.judging.control_chart import LEAST, RUN, Signal, control_chart
from meterlink.judging.correction import LeadZero
from meterlink.judging.meter_check import check_meter, parse_bands, parse_known_resistor


# IEC 60062: examples as textbooks print them.
@pytest.mark.parametrize(
    ("bands", "ohms", "tolerance"),
    [
        ("brown black red gold", 1e3, 5.0),
        ("yellow violet red gold", 4.7e3, 5.0),
        ("red red orange gold", 22e3, 5.0),
        ("brown black black gold brown", 10.0, 1.0),
        ("Yellow, Purple, Gold, Silver", 4.7, 10.0),
        ("orange orange brown", 330.0, 20.0),
        ("yellow violet black red brown red", 47e3, 1.0),
    ],
)
def test_colour_bands_of_iec_60062(bands, ohms, tolerance):
    assert parse_bands(bands) == (ohms, tolerance)


@pytest.mark.parametrize(
    ("bands", "said"),
    [
        ("red", "1 bands"),
        ("gold red red", "digit"),
        ("red red red black", "tolerance"),
        ("red red teal gold", "multiplier"),
        ("black black black gold", "zero ohms"),
        ("red " * 7, "7 bands"),
    ],
)
def test_bands_that_make_no_sense_are_refused(bands, said):
    with pytest.raises(NotationError, match=said):
        parse_bands(bands)


@pytest.mark.parametrize(
    ("text", "ohms", "tolerance"),
    [
        ("4.7 kohm 1%", 4700.0, 1.0),
        ("4k7 ±0.1 %", 4700.0, 0.1),
        ("10R 5%", 10.0, 5.0),
        ("yellow violet red gold", 4700.0, 5.0),
    ],
)
def test_a_known_resistor_is_a_value_with_tolerance_or_its_bands(text, ohms, tolerance):
    resistor = parse_known_resistor(text)
    assert (resistor.ohms, resistor.tolerance) == (ohms, tolerance)


@pytest.mark.parametrize(
    "text", ["", "4k7", "4k7 0%", "OL 5%", "-10 5%", "5 V 1%", "good 1%", " " * 9999]
)
def test_what_is_no_known_resistor_is_refused(text):
    with pytest.raises(NotationError):
        parse_known_resistor(text)


def held(value: float, unit: str = "ohm") -> Held:
    return Held(
        t=1.0,
        contact_t=0.0,
        value=value,
        unit=unit,
        readings=5,
        noise=0.0,
        resolution=1.0,
        u=0.0,
        dof=inf,
    )


RESISTOR = parse_known_resistor("4.7 kohm 1%")
SPEC = (Accuracy(percent=0.5, counts=2),)


def test_the_uncertainty_of_a_check_is_meter_and_marking_together():
    check = check_meter(RESISTOR, held(4720.0), SPEC, assumed=NOTHING_ASSUMED)
    u = sqrt(((0.005 * 4720 + 2) ** 2 + 47**2) / 3 + 1 / 12)
    assert check.error == pytest.approx(20.0)
    assert check.budget.u == pytest.approx(u)
    # E_n as ISO 13528 defines it; one wide rectangular part has a factor below 1.960.
    assert check.share == pytest.approx(20.0 / check.budget.expanded)
    assert 1.65 * u < check.budget.expanded < 1.96 * u
    assert check.passed


def test_a_meter_far_off_fails():
    assert not check_meter(RESISTOR, held(4900.0), SPEC).passed
    assert not check_meter(RESISTOR, held(4500.0), SPEC).passed


def test_the_leads_come_off():
    small = parse_known_resistor("1 ohm 1%")
    one = check_meter(small, held(1.2), SPEC, LeadZero(value=0.2, resolution=1.0))
    assert one.error == pytest.approx(0.0)


def test_a_meter_set_to_volts_is_told_so():
    with pytest.raises(NotationError, match="turn it to resistance"):
        check_meter(RESISTOR, held(4.7, unit="volt"))


def test_the_individuals_chart_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook 6.3.2.2: centre 50.81, average moving range 1.8778,
    # limits 55.8041 and 45.8159, nothing out.
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = control_chart(flow)
    assert round(chart.centre, 2) == 50.81
    assert round(chart.upper, 4) == 55.8041
    assert round(chart.lower, 4) == 45.8159
    assert chart.signals == ()


def test_a_value_beyond_the_limits_stands_out():
    steady = [1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0]
    chart = control_chart([*steady, 2.0], base=len(steady))
    # So large a jump brings the moving average beyond its limits at once, too.
    assert chart.signals == ((len(steady), Signal.BEYOND), (len(steady), Signal.DRIFT))


def test_a_run_on_one_side_stands_out():
    steady = [1.0, 1.1, 0.9] * 4
    shifted = [1.05] * RUN
    chart = control_chart([*steady, *shifted], base=len(steady))
    assert chart.signals == ((len(steady) + RUN - 1, Signal.RUN),)


def test_too_few_checks_give_no_chart():
    assert LEAST == 8
    assert control_chart([1.0, 2.0] * 4) is not None
    assert control_chart([1.0, 2.0] * 3) is None


@given(
    values=st.lists(st.floats(-1e3, 1e3), min_size=LEAST, max_size=40),
    shift=st.floats(-1e3, 1e3),
)
def test_a_shift_moves_the_whole_chart(values, shift):
    one, moved = control_chart(values), control_chart([v + shift for v in values])
    assert moved.centre == pytest.approx(one.centre + shift, abs=1e-6)
    assert moved.sd == pytest.approx(one.sd, abs=1e-6)
