"""A record comes back as it was written, and a line that is none is said to be none."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from captures.record.records import Header, RecordError, Unknown, decode, encode, known_kinds
from captures.record.seals import Seal
from meterlink.events import Held, Judged, Note, Verdict
from meterlink.reading import Quantity, Reading
from tests.captures.made import HEADER, SMALL, same

ANY_FLOAT = st.floats(allow_nan=True, allow_infinity=True)


@pytest.mark.parametrize("record", SMALL)
def test_each_record_is_one_line_of_json_with_a_kind(record):
    line = encode(record)
    assert line.endswith(b"\n")
    assert line.count(b"\n") == 1
    strict = json.loads(line, parse_constant=lambda word: pytest.fail(word))
    assert strict["kind"] in known_kinds()
    assert same(decode(line), record)


@given(
    st.builds(
        Reading,
        t=ANY_FLOAT,
        value=ANY_FLOAT,
        quantity=st.sampled_from(Quantity),
        resolution=st.none() | st.floats(min_value=0, allow_infinity=False),
        overload=st.booleans(),
        raw=st.text(),
    )
)
def test_a_reading_comes_back_bit_for_bit(reading):
    assert same(decode(encode(reading)), reading)


@given(
    st.builds(
        Held,
        t=ANY_FLOAT,
        contact_t=ANY_FLOAT,
        value=ANY_FLOAT,
        readings=st.integers(0, 2**63 - 1),
        noise=ANY_FLOAT,
        resolution=ANY_FLOAT,
        u=ANY_FLOAT,
        dof=ANY_FLOAT,
    )
)
def test_a_hold_comes_back_bit_for_bit(held):
    assert same(decode(encode(held)), held)


@given(
    st.builds(
        Judged,
        t=ANY_FLOAT,
        step=st.text(),
        contact_t=ANY_FLOAT,
        value=st.none() | ANY_FLOAT,
        corrected=st.none() | ANY_FLOAT,
        u=st.none() | ANY_FLOAT,
        verdict=st.sampled_from(Verdict),
        probability=ANY_FLOAT,
        clear=st.booleans(),
    )
)
def test_a_verdict_keeps_none_apart_from_not_a_number(judged):
    assert same(decode(encode(judged)), judged)


def test_a_half_surrogate_does_not_stop_the_record():
    assert decode(encode(Note(t=1.0, text="a\ud800b"))) == Note(t=1.0, text="a?b")


def test_the_header_says_format_and_version_even_where_they_are_usual():
    written = json.loads(encode(HEADER))
    assert list(written)[:3] == ["kind", "format", "version"]
    assert decode(encode(HEADER)) == HEADER


def test_a_newer_kind_is_kept_and_a_newer_key_is_passed_over():
    assert decode(b'{"kind":"pressure","t":1.5,"bar":2}') == Unknown(
        "pressure", {"kind": "pressure", "t": 1.5, "bar": 2}
    )
    found = decode(b'{"kind":"reading","t":1.5,"value":0.5,"colour":"blue"}')
    assert found == Reading(1.5, 0.5)


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"\n",
        b"{",
        b"null",
        b"[1]",
        b'"reading"',
        b'{"t":1}',
        b'{"kind":7}',
        b'{"kind":"reading"}',
        b'{"kind":"reading","t":"soon","value":1}',
        b'{"kind":"reading","t":1e999,"value":1}',
        b'{"kind":"hold","t":1}',
        b'{"kind":"verdict","t":1,"step":"a","verdict":"perhaps"}',
        b'{"kind":"note","t":1,"text":"\xff"}',
        b'{"kind":"new","text":"\xff"}',
        b'{"kind":"new","deep":' + b"[" * 100_000 + b"]" * 100_000 + b"}",
        b'{"kind":"seal","lines":1}',
        b"\x00" * 64,
        b'{"kind":"reading","t":1,"value":1}{"kind":"reading"',
    ],
)
def test_a_line_that_is_no_record_says_why(line):
    with pytest.raises(RecordError):
        decode(line)


def test_every_seal_key_is_always_written():
    seal = Seal(lines=0, bytes=0, sha256="", marks="", final=False)
    assert list(json.loads(encode(seal))) == ["kind", "lines", "bytes", "sha256", "marks", "final"]


def test_a_header_of_a_newer_minor_version_is_read():
    line = encode(Header(started="", program="", version="1.99"))
    header = decode(line[:-2] + b',"new":[1,2]}\n')
    assert isinstance(header, Header)
    assert header.version == "1.99"


def test_infinity_of_either_sign_is_told_apart():
    for value in (math.inf, -math.inf):
        for overload in (True, False):
            reading = Reading(0.0, value, overload=overload)
            assert same(decode(encode(reading)), reading)
