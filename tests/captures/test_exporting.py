"""Readings and holds in CSV and Parquet are what the capture holds, read by other programs."""

import csv
import errno
import io
import math
import os
import threading

import duckdb
import pyarrow.parquet
import pytest

from captures.exchange.export import (
    HoldRow,
    ReadingRow,
    hold_rows,
    reading_rows,
    write_csv,
    write_parquet,
)
from captures.record.readings_file import open_readings
from meterlink.errors import CannotWriteError
from meterlink.events import Contact, Evidence, Held, Judged, Lift, StepBegan, Verdict
from meterlink.reading import Reading
from tests.captures.made import SMALL, same, write

READINGS = [record for record in SMALL if isinstance(record, Reading)]


def held(t: float, contact_t: float, value: float) -> Held:
    return Held(
        t=t,
        contact_t=contact_t,
        value=value,
        readings=9,
        noise=1e-3,
        resolution=1e-4,
        u=1e-3,
        dof=8,
    )


def judged(t: float, contact_t: float, value: float | None, verdict: Verdict, **more) -> Judged:
    return Judged(
        t=t,
        step=more.pop("step", "primary"),
        contact_t=contact_t,
        value=value,
        verdict=verdict,
        probability=0.999,
        clear=True,
        **more,
    )


EVENTS = [
    StepBegan(t=0.0, step="primary"),
    Contact(t=1.0),
    held(2.0, 1.0, 0.9),
    judged(2.0, 1.0, 0.9, Verdict.IN_WINDOW, corrected=0.8, u=0.01),
    Lift(t=3.0, contact_t=1.0, held=True),
    StepBegan(t=3.0, step="stop-switch"),
    Contact(t=4.0),
    held(5.0, 4.0, 0.2),
    judged(5.0, 4.0, 0.2, Verdict.IN_WINDOW, step="stop-switch", position="stop", corrected=0.1),
    judged(
        6.0,
        4.0,
        None,
        Verdict.OPEN,
        step="stop-switch",
        position="run",
        evidence=Evidence.SAME_TOUCH,
    ),
    Lift(t=7.0, contact_t=4.0, held=True),
    Contact(t=8.0),
    held(9.0, 8.0, 0.3),
]


@pytest.fixture
def capture(tmp_path):
    return write(tmp_path / "0001-primary.jsonl", SMALL)


def test_a_csv_of_readings_is_a_plain_readings_file(tmp_path, capture):
    path = tmp_path / "a.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        assert write_csv(reading_rows(capture), ReadingRow, file) == len(READINGS)
    assert path.read_bytes().count(b"\r\n") == len(READINGS) + 1
    source = open_readings(path)
    back = list(source.readings(threading.Event()))
    source.close()
    assert source.dropped == 1
    whole = [r for r in READINGS if not math.isnan(r.value)]
    assert same(
        [(r.t, r.value, r.quantity, r.overload) for r in back],
        [(r.t, r.value, r.quantity, r.overload) for r in whole],
    )


def test_parquet_is_read_back_by_pyarrow_and_duckdb_with_equal_values(tmp_path, capture):
    path = tmp_path / "a.parquet"
    assert write_parquet(reading_rows(capture), ReadingRow, path) == len(READINGS)
    wanted = [
        (r.t, r.value, r.quantity.unit, r.overload, r.resolution, r.quantity.value, r.raw)
        for r in READINGS
    ]
    table = pyarrow.parquet.read_table(path)
    assert table.column_names == list(ReadingRow.__struct_fields__)
    by_pyarrow = [tuple(row.values())[:-3] for row in table.to_pylist()]
    by_duckdb = [row[:-3] for row in duckdb.sql(f"select * from '{path}'").fetchall()]
    assert same(by_pyarrow, wanted)
    assert same(by_duckdb, wanted)


def test_holds_carry_verdict_lift_and_evidence(tmp_path):
    path = write(tmp_path / "0001-card.jsonl", EVENTS)
    rows = list(hold_rows(path))
    assert [(row.step, row.position, row.verdict, row.lift_t_s) for row in rows] == [
        ("primary", None, "in-window", 3.0),
        ("stop-switch", "stop", "in-window", 7.0),
        ("stop-switch", "run", "open", 7.0),
        ("stop-switch", None, None, None),
    ]
    assert (rows[0].value, rows[0].corrected, rows[0].u) == (0.9, 0.8, 0.01)
    assert (rows[2].value, rows[2].evidence) == (None, "same-touch")


def test_holds_read_back_by_duckdb_and_csv_alike(tmp_path):
    capture = write(tmp_path / "0001-card.jsonl", EVENTS)
    rows = [tuple(getattr(r, f) for f in HoldRow.__struct_fields__) for r in hold_rows(capture)]
    write_parquet(hold_rows(capture), HoldRow, tmp_path / "a.parquet")
    assert duckdb.sql(f"select * from '{tmp_path / 'a.parquet'}'").fetchall() == rows
    text = io.StringIO()
    write_csv(hold_rows(capture), HoldRow, text)
    assert [row["verdict"] for row in csv.DictReader(io.StringIO(text.getvalue()))] == [
        "in-window",
        "in-window",
        "open",
        "",
    ]


def test_text_that_a_spreadsheet_would_run_is_kept_from_it(tmp_path):
    path = write(
        tmp_path / "a.jsonl",
        [Reading(0.0, 1.0, raw='=HYPERLINK("x")'), Reading(1.0, 1.0, raw="+1.000E+00")],
    )
    text = io.StringIO()
    write_csv(reading_rows(path), ReadingRow, text)
    rows = list(csv.DictReader(io.StringIO(text.getvalue())))
    assert [row["raw"] for row in rows] == ['\'=HYPERLINK("x")', "+1.000E+00"]


def test_a_file_that_exists_is_not_written_over(tmp_path, capture):
    path = tmp_path / "a.parquet"
    path.write_text("mine")
    with pytest.raises(CannotWriteError):
        write_parquet(reading_rows(capture), ReadingRow, path)
    assert path.read_text() == "mine"


def test_a_table_that_could_not_be_finished_is_not_left_behind(tmp_path, capture):
    def rows():
        yield from reading_rows(capture)
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    path = tmp_path / "a.parquet"
    with pytest.raises(CannotWriteError, match=r"a\.parquet cannot be written: No space"):
        write_parquet(rows(), ReadingRow, path)
    assert not path.exists()
