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
        "T_S,Value,UNIT\n0.5,0.842,Ohm\n",
        "t_s;value;unit\r\n0,5;0,842;ohm\r\n",
        "t_s;value;unit\n0.5;0.842;ohm\n",
        "t_s\tvalue\tunit\n0.5\t0.842\tohm\n",
        't_s,value,unit\n0.5,"0,842",ohm\n',
        "t_s,value,unit\n0.5,0.000842,kohm\n",
        "t_s,value,unit\n0.5,842 mohm,ohm\n",
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


@pytest.mark.parametrize("word", ["OL", "ol", "O.L", "overload", "OL kohm"])
def test_an_over_range_is_read_as_displays_show_it(tmp_path, word):
    [reading], _ = read(tmp_path, f"t_s;value;unit\n0;{word};kohm\n")
    assert (reading.overload, reading.quantity) == (True, Quantity.RESISTANCE)


@pytest.mark.parametrize("head", ["", "value\n", "Value\r\n", "\ufeff"])
def test_a_column_of_values_alone_is_read_twice_a_second(tmp_path, head):
    readings, _ = read(tmp_path, head + "0.84\n0.85 ohm\nOL\n4k7\n")
    assert [(r.t, r.value) for r in readings] == [
        (0.0, 0.84),
        (0.5, 0.85),
        (1.0, math.inf),
        (1.5, 4700.0),
    ]


@settings(deadline=None)
@given(st.lists(st.decimals(-(10**6), 10**6, places=3), min_size=1))
def test_semicolons_with_commas_read_as_commas_with_points(tmp_path_factory, values):
    head, folder = "t_s,value,unit\n", tmp_path_factory.getbasetemp()
    rows = "".join(f"{t / 8},{value:.3f},ohm\n" for t, value in enumerate(values))
    other = (head + rows).replace(",", ";").replace(".", ",")
    with_points, with_commas = read(folder, head + rows)[0], read(folder, other)[0]
    assert [(r.t, r.value) for r in with_commas] == [(r.t, r.value) for r in with_points]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 1, "no column t_s"),
        ("time,value,unit\n", 1, "no column t_s"),
        ("t_s,value,unit\n0,1,ohm\nx,1,ohm\n", 3, "t_s is 'x'"),
        ("t_s,value,unit\n0,\x1b[2J,ohm\n", 2, "cannot be read"),
        ("t_s,value,unit\n0,1,furlong\n", 2, "expected ohm, kohm, Mohm or volt"),
        ("t_s,value,unit\n0,1 mm,ohm\n", 2, "neither ohm nor volt"),
        ('t_s,value,unit\n0,"1,234",ohm\n', 2, "can be read in two ways"),
        ("0.84\n0.85 parsec\n", 2, "cannot be read"),
        ("t_s\n0\n", 1, "no column value"),
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
