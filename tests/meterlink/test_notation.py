"""Values, windows and accuracies as people write them."""

import contextlib
from math import inf, isclose, log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.errors import NotationError
from meterlink.judging.accuracy import parse_accuracy
from meterlink.quantities.given import parse_window
from meterlink.quantities.notation import (
    SI_UNITS,
    find_unit,
    format_value,
    format_with_u,
    parse_as,
    parse_quantity,
    unit_named,
)
from meterlink.quantities.window import Window

READ = [
    ("0.842", 0.842, "ohm", 0.001),
    ("4k7", 4700, "ohm", 100),
    ("4K7", 4700, "ohm", 100),
    ("4.7k", 4700, "ohm", 100),
    ("4700", 4700, "ohm", 1),
    ("5.1 kohm", 5100, "ohm", 100),
    ("5.1 kΩ", 5100, "ohm", 100),
    ("5.1 k\N{OHM SIGN}", 5100, "ohm", 100),
    ("5.10KOHM", 5100, "ohm", 10),
    ("1e3 ohm", 1000, "ohm", 1000),
    ("1.00E+03", 1000, "ohm", 10),
    ("-0.05", -0.05, "ohm", 0.01),
    ("\N{MINUS SIGN}0R05", -0.05, "ohm", 0.01),
    ("820m", 0.82, "ohm", 0.001),
    ("820 mohm", 0.82, "ohm", 0.001),
    ("2 Mohm", 2e6, "ohm", 1e6),
    ("4k7 ohm", 4700, "ohm", 100),
    ("120 mV", 0.12, "volt", 1e-3),
    ("100 nF", 1e-7, "farad", 1e-9),
    ("4.7 µF", 4.7e-6, "farad", 1e-7),
    ("4.7 uF", 4.7e-6, "farad", 1e-7),
    ("50 Hz", 50, "hertz", 1),
    ("0.3 mm", 0.0003, "metre", 1e-4),
    ("30 min", 1800, "second", 60),
    ("200 ms", 0.2, "second", 1e-3),
    ("22 °C", 22, "celsius", 1),
    ("20,5", 20.5, "ohm", 0.1),
    ("0,85", 0.85, "ohm", 0.01),
    (",85", 0.85, "ohm", 0.01),
    ("0,850", 0.85, "ohm", 0.001),
    ("-1,5", -1.5, "ohm", 0.1),
    ("5,2 kOhm", 5200, "ohm", 100),
    ("1,5e3 ohm", 1500, "ohm", 100),
    ("0.8 Ω", 0.8, "ohm", 0.1),
    ("5,5 Nm", 5.5, "newton-metre", 0.1),
    ("1234,567", 1234.567, "ohm", 0.001),
    ("1,2345", 1.2345, "ohm", 0.0001),
    ("9 newton", 9, "newton", 1),
]


@pytest.mark.parametrize(("text", "value", "unit", "resolution"), READ)
def test_what_people_write_is_read(text, value, unit, resolution):
    read = parse_quantity(text)
    assert (read.value, read.unit, read.overload) == (value, unit, False)
    assert read.resolution == pytest.approx(resolution, rel=1e-12)


# IEC 60062: examples of resistance values in letter and digit code, as printed in encyclopaedias.
@pytest.mark.parametrize(
    ("code", "ohms"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470),
        ("4K7", 4.7e3),
        ("47K", 47e3),
        ("47K3", 47.3e3),
        ("470K", 470e3),
        ("4M7", 4.7e6),
        ("0R82", 0.82),
    ],
)
def test_letter_codes_of_iec_60062(code, ohms):
    assert parse_quantity(code).value == ohms


@pytest.mark.parametrize(
    "text", ["OL", "ol", " O.L ", "0L", "over", "overload", "over range", "OL kohm", "over kohm"]
)
def test_an_over_range_is_read_as_such(text):
    read = parse_quantity(text)
    assert read.overload
    assert read.value == inf
    assert read.unit == "ohm"


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "4q7",
        "4,",
        "1,5,5",
        "--3",
        "1e400",
        "nan",
        "inf",
        "4k7k",
        "4k7 kohm",
        "٣",
        "k",
        "ohm",
        "4 7",
        "1V5",
    ],
)
def test_what_cannot_be_read_is_refused_in_one_sentence(text):
    with pytest.raises(NotationError) as fault:
        parse_quantity(text)
    assert "\n" not in str(fault.value)


# SI Brochure, 9th edition, 5.4.4, from memory: the decimal marker is the point or the comma, and
# neither may stand in the spaces between groups of three digits.
@given(
    st.integers(0, 10**6 - 1),
    st.integers(0, 10**6),
    st.integers(1, 6),
    st.sampled_from(["", "k", " kohm", "Ω"]),
)
def test_a_decimal_comma_reads_as_the_point_or_is_refused(whole, part, places, unit):
    decimals = f"{part:06d}"[:places]
    written = f"{whole},{decimals}{unit}"
    if places == 3 and 1 <= whole <= 999:
        with pytest.raises(NotationError, match="two ways"):
            parse_quantity(written)
    else:
        assert parse_quantity(written) == parse_quantity(written.replace(",", "."))


@pytest.mark.parametrize("text", ["1,234", "12,345 kohm", "999,000", "1,234.5", "1.234,5"])
def test_a_comma_that_may_part_thousands_is_refused(text):
    with pytest.raises(NotationError, match="can be read in two ways"):
        parse_quantity(text)


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        ("newton-metre", "type torque and unit, such as 9.5 N·m"),
        ("metre", "type length and unit, such as 0.25 mm"),
        ("celsius", "type temperature and unit, such as 20 °C"),
        ("ohm", "type resistance and unit, such as 0.84 ohm or 4k7"),
    ],
)
@pytest.mark.parametrize("typed", ["tight", "", "5 s", "4x7"])
def test_bad_input_is_answered_in_the_words_of_the_question(unit, said, typed):
    with pytest.raises(NotationError, match=said):
        parse_as(typed, unit)


def test_a_unit_is_asked_for_where_several_are_usual():
    with pytest.raises(NotationError, match="“5” has no unit; type torque and unit"):
        parse_as("5", "newton-metre", bare=False)


@given(st.text("0123456789,.kmMRohmV:", max_size=12))
def test_limits_are_read_or_refused_and_never_upside_down(text):
    with contextlib.suppress(NotationError):
        window = parse_window(text)
        assert window.floor <= window.ceiling


def test_control_characters_do_not_reach_the_message():
    with pytest.raises(NotationError) as fault:
        parse_quantity("4\x1b[31m7")
    assert "\x1b" not in str(fault.value)


def test_a_very_long_text_is_refused_quickly():
    with pytest.raises(NotationError):
        parse_quantity("9" * 100_000)


def test_a_bare_number_takes_the_default_unit_and_says_so():
    assert parse_quantity("0.25", "mm").value == 0.00025
    assert parse_quantity("0.25", "mm").bare
    assert not parse_quantity("0.25 mm").bare
    assert parse_quantity("4k7").bare


def test_another_kind_of_unit_is_refused_where_one_is_required():
    with pytest.raises(NotationError, match="a torque; type resistance and unit, such as"):
        parse_as("9.5 N·m", "ohm")


@pytest.mark.parametrize("text", ["20k", "4k7", "4k7 °C", "20 kC"])
def test_prefixes_belong_to_units_that_take_them(text):
    with pytest.raises(NotationError):
        parse_quantity(text, "celsius") if "C" in text else parse_as(text, "celsius")


def test_an_unknown_unit_is_named():
    with pytest.raises(NotationError, match="furlong"):
        unit_named("furlong")


# NIST SP 811 (2008), appendix B.8: factors to the digits printed there, from memory; the exact
# values follow from the inch, the pound and standard gravity.
@pytest.mark.parametrize(
    ("unit", "printed", "step"),
    [
        ("lbf·in", 1.129848e-1, 1e-7),
        ("lbf·ft", 1.355818, 1e-6),
        ("kgf·m", 9.80665, 1e-5),
        ("in", 2.54e-2, 1e-4),
        ("thou", 2.54e-5, 1e-7),
    ],
)
def test_factors_of_nist_sp_811(unit, printed, step):
    assert abs(parse_quantity(f"1 {unit}").value - printed) <= step / 2


@pytest.mark.parametrize(
    ("inches", "mm"),
    [(0.006, 0.1524), (0.008, 0.2032), (0.010, 0.254), (0.012, 0.3048), (0.014, 0.3556)],
)
def test_inches_are_25_4_mm_exactly(inches, mm):
    assert parse_quantity(f"{inches} in").value == pytest.approx(mm / 1000, rel=1e-15)


@pytest.mark.parametrize(
    ("f", "c"),
    [(32, 0), (50, 10), (59, 15), (68, 20), (77, 25), (86, 30), (104, 40), (212, 100), (-40, -40)],
)
def test_fahrenheit_by_its_definition(f, c):
    assert parse_quantity(f"{f} °F").value == pytest.approx(c, abs=1e-12)


def test_a_torque_of_84_inch_pounds_is_9_49_newton_metres():
    # Common practice, no published source.
    assert format_value(parse_quantity("84 lbf·in").value, "newton-metre", 0.01) == "9.49 N·m"


@pytest.mark.parametrize(
    ("spellings", "unit"),
    [
        ("N·m Nm N.m N-m newton-metre", "newton-metre"),
        ("lbf·in lbf-in in·lbf in-lb lb-in lbf*in", "newton-metre"),
        ("lbf·ft ft-lb ft·lbf lb-ft", "newton-metre"),
        ("°F F degF fahrenheit", "celsius"),
        ("min minute minutes", "second"),
    ],
)
def test_every_spelling_of_a_unit_is_the_same_unit(spellings, unit):
    found = {find_unit(word) for word in spellings.split()}
    assert len(found) == 1
    assert found.pop().si == unit


def test_milli_and_mega_are_told_apart_by_case_alone():
    assert parse_quantity("1 mohm").value == 1e-3
    assert parse_quantity("1 Mohm").value == 1e6


@pytest.mark.parametrize(
    ("text", "window"),
    [
        ("0.7:1.0ohm", Window(0.7, 1.0)),
        ("0.7 : 1.0 Ω", Window(0.7, 1.0)),
        ("4k:7kohm", Window(4000, 7000)),
        ("700:1k", Window(700, 1000)),
        ("0:7k", Window(0, 7000)),
        (":2ohm", Window(None, 2)),
        ("1M:", Window(1e6, None)),
        ("0.2:0.6volt", Window(0.2, 0.6, "volt")),
        ("0.2V:0.6", Window(0.2, 0.6, "volt")),
        ("0,7:1,0 ohm", Window(0.7, 1.0)),
        ("4R:7k", Window(4, 7000)),
        ("4k7:7k", Window(4700, 7000)),
        ("0.25:0.35mm", Window(0.00025, 0.00035, "metre")),
        ("0.25mm:0.35", Window(0.00025, 0.00035, "metre")),
    ],
)
def test_windows_are_read(text, window):
    assert parse_window(text) == window


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("7k:4k", "upside down"),
        ("4:7kohm", "two ways"),
        ("4:7k", "two ways"),
        ("4m:7", "two ways"),
        ("4,5:7,5 kohm", "two ways"),
        ("1,234:2,345", "two ways"),
        ("", "not two limits"),
        (":", "not two limits"),
        ("0.7", "not two limits"),
        ("1V:2ohm", "one limit is a voltage"),
        ("0:OL", "leave it empty"),
        ("a:b", "cannot be read"),
    ],
)
def test_windows_that_make_no_sense_are_refused(text, said):
    with pytest.raises(NotationError, match=said):
        parse_window(text)


def test_accuracies_are_read_as_makers_print_them():
    for text in ("0.8%+3", "0.8 % + 3", "±(0.8% of reading + 3 digits)", "0.8% rdg + 3 counts"):
        line = parse_accuracy(text)
        assert (line.percent, line.counts, line.of_range) == (0.8, 3, 0)
    line = parse_accuracy("0.010%+0.004% of range")
    assert (line.percent, line.counts, line.of_range) == (0.01, 0, 0.004)


@pytest.mark.parametrize("text", ["", "good", "0.8%-3", "120%", "+", "0.8%+x"])
def test_accuracies_that_make_no_sense_are_refused(text):
    with pytest.raises(NotationError):
        parse_accuracy(text)


@pytest.mark.parametrize(
    ("value", "unit", "resolution", "shown"),
    [
        (0.842, "ohm", 0.001, "0.842 Ω"),
        (5130, "ohm", 10, "5.13 kΩ"),
        (4700, "ohm", 1, "4.700 kΩ"),
        (0.05, "ohm", 0.01, "0.05 Ω"),
        (0.00842, "ohm", 1e-5, "8.42 mΩ"),
        (999.96, "ohm", 0.1, "1.0000 kΩ"),
        (840, "ohm", 100, "0.8 kΩ"),
        (-0.002, "ohm", 0.01, "0.00 Ω"),
        (0, "ohm", 0.01, "0.00 Ω"),
        (5130, "ohm", None, "5.13 kΩ"),
        (0, "ohm", None, "0 Ω"),
        (1.5e6, "ohm", 1e5, "1.5 MΩ"),
        (0.000254, "metre", 1e-5, "0.25 mm"),
        (20, "celsius", 1, "20 °C"),
        (inf, "ohm", 0.1, "over range"),
    ],
)
def test_values_are_written_with_the_digits_they_bear(value, unit, resolution, shown):
    assert format_value(value, unit, resolution) == shown


def test_the_ohm_sign_can_be_left_out():
    assert format_value(5130, "ohm", 10, ohm_sign=False) == "5.13 kohm"
    assert format_with_u(0.842, 0.013, ohm_sign=False) == "0.842 ± 0.013 ohm"


@pytest.mark.parametrize(
    ("value", "u", "shown"),
    [
        (0.8421, 0.0131, "0.842 ± 0.013 Ω"),
        (5130, 48, "5.130 ± 0.048 kΩ"),
        (9.996, 0.0996, "10.00 ± 0.10 Ω"),
        (0.001, 5, "0.0 ± 5.0 Ω"),
        (0.842, 0, "0.842 Ω"),
    ],
)
def test_an_uncertainty_has_two_digits_and_sets_those_of_the_value(value, u, shown):
    # GUM 7.2.6: at most two significant digits.
    assert format_with_u(value, u) == shown


MAGNITUDES = st.floats(min_value=1e-6, max_value=9.9e8)


@given(
    value=MAGNITUDES, sign=st.sampled_from([1, -1]), share=st.floats(1e-6, 0.5), ohms=st.booleans()
)
def test_what_is_written_is_read_back_within_its_last_digit(value, sign, share, ohms):
    resolution = 10.0 ** round(log10(value * share))
    shown = format_value(sign * value, "ohm", resolution, ohm_sign=ohms)
    read = parse_quantity(shown)
    assert read.unit == "ohm"
    assert abs(read.value - sign * value) <= read.resolution * 0.5 * (1 + 1e-6)


@given(value=MAGNITUDES, resolution=st.floats(1e-6, 1e6))
def test_no_more_digits_are_written_than_the_resolution_bears(value, resolution):
    step = parse_quantity(format_value(value, "ohm", resolution)).resolution
    assert step * 10 > resolution or isclose(step * 10, resolution)


@given(whole=st.integers(0, 999), part=st.integers(0, 999), letter=st.sampled_from("RkKM"))
def test_a_letter_in_place_of_the_point_means_the_same_as_the_point(whole, part, letter):
    coded = parse_quantity(f"{whole}{letter}{part}")
    prefix = "" if letter == "R" else letter
    pointed = parse_quantity(f"{whole}.{part} {prefix}ohm")
    assert (coded.value, coded.resolution) == (pointed.value, pointed.resolution)


@given(st.text(max_size=40) | st.text("0123456789.:+-%kmMRGΩohmVFNin eE", max_size=16))
def test_any_text_is_read_or_refused_but_never_breaks(text):
    for parse in (parse_quantity, parse_window, parse_accuracy):
        with contextlib.suppress(NotationError):
            parse(text)


def test_every_si_unit_can_be_named_and_shown():
    for name in SI_UNITS:
        assert unit_named(name).factor == 1
        assert format_value(1.0, name, 1.0)


def test_what_no_meter_gives_is_still_shown():
    assert format_value(3.0, "furlong") == "3 furlong"
    assert format_value(1.5, "ohm", 5e-324) == format_value(1.5)
    assert format_value(1.5, "ohm", -1.0) == format_value(1.5)
    assert format_with_u(1.5, 5e-324) == format_value(1.5)
    assert format_value(5e-324) == format_value(0.0)
