"""Plain readings files, as a spreadsheet or another program writes them."""

import contextlib
import csv
import io
import math
import threading

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from captures.record.readings_file import PlainReader, open_readings
from meterlink.errors import UnreadableError
from meterlink.reading import Quantity
from meterlink.source import MeterSetup
from tests.captures.made import HEADER, SMALL, same, write


def read(tmp_path, text: str | bytes):
    path = tmp_path / "readings.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    reader = PlainReader(path)
    try:
        return list(reader), reader.dropped
    finally:
        reader.close()


@pytest.mark.parametrize(
    "text",
    [
        "t_s,value,unit\r\n0.5,0.842,ohm\r\n",
        "t_s,value,unit\n0.5,0.842,ohm",
        '\ufeff"t_s","value","unit"\n"0.5","8.42E-1","ohm"\n\n',
        "unit,overload,t_s,remark,value\nohm,0,0.5,fine,0.842\n",
        "t_s,value,unit,overload\n0.5,0.842,ohm,\n",
        "t_s , value , unit\n 0.5 , 0.842 , ohm \n",
    ],
)
def test_the_forms_that_programs_write_are_read(tmp_path, text):
    [reading], dropped = read(tmp_path, text)
    assert (reading.t, reading.value, reading.quantity) == (0.5, 0.842, Quantity.RESISTANCE)
    assert (reading.overload, dropped) == (False, 0)


def test_over_range_and_not_a_number_by_the_numbers_of_scpi(tmp_path):
    """9.9E37, -9.9E37 and 9.91E37: SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5."""
    readings, dropped = read(
        tmp_path,
        "t_s,value,unit,overload\n0,9.9E37,ohm,0\n1,9.91E37,ohm,\n2,-9.9e+37,volt,\n"
        "3,,ohm,1\n4,9.90000000E+37,ohm,1\n5,nan,ohm,0\n6,12,volt,false\n",
    )
    assert [(r.t, r.value, r.overload) for r in readings] == [
        (0, math.inf, True),
        (2, math.inf, True),
        (3, math.inf, True),
        (4, math.inf, True),
        (6, 12, False),
    ]
    assert dropped == 2


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 1, "no column t_s"),
        ("time,value,unit\n", 1, "no column t_s"),
        ("t_s,value,unit\n0,1,ohm\nx,1,ohm\n", 3, "t_s is 'x'"),
        ("t_s,value,unit\n0,\x1b[2J,ohm\n", 2, "expected a number"),
        ("t_s,value,unit\n0,OL,ohm\n", 2, "and 9.9E37 for an over range"),
        ("t_s,value,unit\n0,1,kohm\n", 2, "expected ohm or volt"),
        ("t_s,value,unit\n0,1\n", 2, "2 fields"),
        ("t_s,value,unit\ninf,1,ohm\n", 2, "no time"),
        ("t_s,value,unit,overload\n0,1,ohm,maybe\n", 2, "expected 0 or 1"),
        ('t_s,value,unit\n0,1,"ohm\n', 2, "not CSV"),
        ("t_s,value,unit\r0,1,ohm\r", 1, r"unquoted field\)$"),
        (b"t_s,value,unit\n0,1,\xff\n", 2, "not UTF-8"),
        ("t_s,value,unit\n0," + "1" * 10_000 + ",ohm\n", 2, "longer than"),
    ],
)
def test_a_mistake_is_named_with_file_and_line(tmp_path, text, line, said):
    with pytest.raises(UnreadableError, match=said) as refused:
        read(tmp_path, text)
    message = str(refused.value)
    assert f"readings.csv line {line}:" in message
    assert message.isprintable()


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(0, 1e6), st.floats(-1e9, 1e9), st.sampled_from(["ohm", "volt"]), st.booleans()
        )
    )
)
def test_what_the_csv_module_writes_is_read_back(tmp_path_factory, rows):
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(["t_s", "value", "unit", "overload"])
    table.writerows((t, value, unit, int(over)) for t, value, unit, over in rows)
    readings, dropped = read(tmp_path_factory.getbasetemp(), text.getvalue())
    assert dropped == 0
    assert [(r.t, r.value, r.quantity.unit, r.overload) for r in readings] == [
        (t, math.inf if over else value, unit, over) for t, value, unit, over in rows
    ]


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=300))
def test_no_bytes_make_a_traceback(tmp_path_factory, content):
    with contextlib.suppress(UnreadableError):
        read(tmp_path_factory.getbasetemp(), b"t_s,value,unit\n" + content)


def test_a_source_tells_a_capture_from_a_plain_file(tmp_path):
    capture = open_readings(write(tmp_path / "a.jsonl", SMALL))
    assert capture.identity == HEADER.meter
    wanted = [record for record in SMALL if type(record).__name__ == "Reading"]
    assert same(list(capture.readings(threading.Event())), wanted)
    capture.close()
    capture.close()
    (tmp_path / "b.csv").write_text("t_s,value,unit\n0,9.91E37,ohm\n1,2,ohm\n")
    plain_file = open_readings(tmp_path / "b.csv")
    assert plain_file.identity.port.endswith("b.csv")
    assert plain_file.prepare(MeterSetup()).quantity is None
    assert [r.value for r in plain_file.readings(threading.Event())] == [2.0]
    assert plain_file.dropped == 1
    plain_file.close()


def test_a_source_stops_when_it_is_told_to(tmp_path):
    source = open_readings(write(tmp_path / "a.jsonl", SMALL))
    stop = threading.Event()
    readings = source.readings(stop)
    next(readings)
    stop.set()
    assert list(readings) == []
    source.close()
