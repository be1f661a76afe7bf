"""Numbers and blocks against the forms of IEEE 488.2 and SCPI-1999.

Cases marked (a) are from the tests of a general SCPI-99 parser library, its public repository
j123b567/scpi-parser at commit 88661590; those marked (b) from instrument programming guides
that quote IEEE 488.2; (c) were computed with PyVISA 1.16.2. The standards' own text was not at
hand.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyvisa import util

from drivers.scpi.answers import (
    AnswerDecoder,
    AnswerFormError,
    definite_end,
    parse_answer,
    parse_measured,
    parse_number,
    unwrap,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("146", 146.0),  # NR1, 488.2 section 8.7.2 (b)
        ("+146", 146.0),
        ("-12345", -12345.0),
        ("12.3", 12.3),  # NR2, 8.7.3 (b)
        ("+1.2345", 1.2345),
        ("-0.123", -0.123),
        ("2.73E+2", 273.0),  # NR3, 8.7.4 (b)
        ("+9.9E36", 9.9e36),  # just a large number (b)
        ("-10.5", -10.5),  # (a)
        ("+.5", 0.5),
        ("1.5E12", 1.5e12),
        ("-1 e 3", -1000.0),
        ("  +1.00000000E+03 ", 1000.0),
    ],
)
def test_the_standard_forms_of_numbers_are_read(text, value):
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["9.9E37", "+9.90000000E+37", "99E36", "9.9e+037"])
def test_any_spelling_of_9_9e37_is_an_overload(text):
    assert parse_number(text) == parse_measured(text).value == math.inf


def test_minus_infinity_is_an_overload_too():
    assert parse_number("-9.9E37") == parse_measured("-9.9E37").value == -math.inf


def test_9_91e37_is_not_a_number_and_no_overload():
    assert math.isnan(parse_number("+9.91000000E+37"))
    assert math.isnan(parse_measured("+9.91000000E+37").value)


@pytest.mark.parametrize(
    "text",
    ["", "-.", "ohm", "1.2.3", "1,2", "0x10", "1_000", "٣", "nan", "inf", "1E", "--1", "1 2"],
)
def test_what_is_no_number_is_refused(text):
    with pytest.raises(AnswerFormError):
        parse_number(text)


@given(st.floats(min_value=-9.8e37, max_value=9.8e37))
def test_every_float_written_as_nr3_is_read_back(value):
    assert parse_number(f"{value:+.17E}") == value


@given(st.binary(max_size=40))
def test_rubbish_gives_numbers_or_a_plain_refusal(data):
    try:
        read = [parse_measured(part) for part in parse_answer(data)]
    except AnswerFormError:
        return
    assert read
    assert all(one.text.isprintable() for one in read)


def test_a_list_of_numbers_keeps_its_order():
    read = [parse_number(part) for part in parse_answer(b"+1.0E+0,-2.5E+0,9.9E37,9.91E37")]
    assert read[:3] == [1.0, -2.5, math.inf]
    assert math.isnan(read[3])


@pytest.mark.parametrize("answer", [b"1\x1b[31m", b"\xff\xfe", b"1\x002", b"", b"1,,2"])
def test_control_bytes_and_holes_are_refused(answer):
    with pytest.raises(AnswerFormError):
        [parse_number(part) for part in parse_answer(answer)]


@pytest.mark.parametrize(
    ("block", "content"),
    [
        (b"#12AB", b"AB"),  # (a)
        (b"#12\r\n", b"\r\n"),  # a terminator inside a block is data (a)
        (b"#204ABCD", b"ABCD"),  # a leading zero in the length (a)
        (b"#211X1234567890", b"X1234567890"),  # (a)
        (b"#0ABCD\n", b"ABCD"),  # indefinite (c)
        (b"#18" + bytes.fromhex("3FC00000C0000000"), bytes.fromhex("3FC00000C0000000")),  # (c)
    ],
)
def test_blocks_hold_what_the_standard_says(block, content):
    assert unwrap(block) == content


@pytest.mark.parametrize("block", [b"#13AB", b"#12", b"#1", b"#"])
def test_a_cut_block_is_not_taken_for_a_whole_one(block):  # (a)
    assert definite_end(block) is None
    with pytest.raises(AnswerFormError):
        unwrap(block)


@given(st.binary(max_size=300))
def test_definite_blocks_agree_with_pyvisa(content):
    digits = str(len(content))
    block = f"#{len(digits)}{digits}".encode() + content
    start, length = util.parse_ieee_block_header(block)
    assert unwrap(block) == block[start : start + length] == content


def test_a_block_of_numbers_is_read_as_numbers():
    assert [parse_number(part) for part in parse_answer(b"#16+1,2.5\n")] == [1.0, 2.5]


@given(
    st.lists(
        st.one_of(
            st.from_regex(rb"[0-9A-Za-z+.,\"-]{1,20}", fullmatch=True),
            st.binary(min_size=1, max_size=30).map(
                lambda content: f"#2{len(content):02d}".encode() + content
            ),
        ),
        max_size=8,
    ),
    st.sampled_from([b"\n", b"\r\n", b"\r"]),
    st.integers(1, 17),
)
def test_answers_do_not_depend_on_how_the_bytes_arrive(answers, end, cut):
    sent = b"".join(answer + end for answer in answers)
    decoder = AnswerDecoder()
    got = []
    for start in range(0, len(sent), cut):
        got += decoder.feed(sent[start : start + cut])
    assert got == answers


def test_a_line_without_an_end_is_dropped_and_the_next_one_read():
    decoder = AnswerDecoder(longest=100)
    for _ in range(10):
        assert decoder.feed(b"x" * 10) == []
    with pytest.raises(AnswerFormError, match="no end"):
        decoder.feed(b"x")
    assert decoder.feed(b"\n1.0\n")[-1] == b"1.0"


@pytest.mark.parametrize("head", [b"#9999999999", b"#5999991", b"#3x12"])
def test_a_block_that_announces_too_much_is_refused_at_once(head):
    with pytest.raises(AnswerFormError):
        AnswerDecoder().feed(head)
