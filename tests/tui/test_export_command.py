"""``meterlink export`` and ``meterlink import``: out to other programs and in again."""

import csv
import io
import json

import pyarrow.parquet
import pytest

from tests.tui.demo_job import copy_demo
from tui.cli import main


@pytest.fixture
def jobs(tmp_path):
    return copy_demo(tmp_path / "jobs")


def test_a_job_goes_out_as_csv_and_parquet_with_the_same_readings(jobs, capsys, tmp_path):
    root, name = jobs
    assert main(["export", name, "--jobs", str(root)]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out, newline="")))
    target = tmp_path / "a.parquet"
    assert main(["export", name, "--jobs", str(root), "--output", str(target)]) == 0
    assert str(len(rows)) in capsys.readouterr().out
    table = pyarrow.parquet.read_table(target)
    assert [float(row["t_s"]) for row in rows] == table["t_s"].to_pylist()


def test_holds_are_those_that_analyse_finds(jobs, capsys, tmp_path):
    root, name = jobs
    [capture] = (root / name / "captures").iterdir()
    assert main(["export", str(capture), "--holds", "--output", str(tmp_path / "h.csv")]) == 0
    with (tmp_path / "h.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    capsys.readouterr()
    assert main(["analyse", str(capture), "--json"]) == 0
    *holds, _ = map(json.loads, capsys.readouterr().out.splitlines())
    by_contact = {float(row["contact_t_s"]): row for row in rows}
    for hold in holds:
        row = by_contact[hold["contact_t_s"]]
        assert float(row["t_s"]) == hold["t_s"]
        assert float(row["value"]) == hold["value"]


def test_what_went_out_comes_in_as_a_sealed_capture(jobs, capsys, tmp_path):
    root, name = jobs
    plain = tmp_path / "out.csv"
    assert main(["export", name, "--jobs", str(root), "--output", str(plain)]) == 0
    started = "2026-11-03T09:14:00+01:00"
    assert (
        main(
            ["import", str(plain), "--jobs", str(root), "--title", "In again", "--started", started]
        )
        == 0
    )
    capture = capsys.readouterr().out.splitlines()[-1].removeprefix("wrote ")
    assert main(["verify", capture]) == 0
    again = tmp_path / "again.csv"
    assert main(["export", capture, "--output", str(again)]) == 0
    with plain.open(newline="") as one, again.open(newline="") as other:
        kept = ("t_s", "value", "unit", "overload")
        assert [[row[k] for k in kept] for row in csv.DictReader(one)] == [
            [row[k] for k in kept] for row in csv.DictReader(other)
        ]


def test_an_import_goes_into_an_existing_job(jobs, capsys, tmp_path):
    root, name = jobs
    plain = tmp_path / "r.csv"
    plain.write_text("t_s,value,unit\n0,1,ohm\n")
    assert (
        main(["import", str(plain), "--job", name, "--jobs", str(root), "--step", "primary"]) == 0
    )
    assert (root / name / "captures" / "0002-primary.jsonl").is_file()
    assert main(["verify", name, "--jobs", str(root)]) == 0


def test_a_bad_line_is_named_and_what_came_before_it_is_kept(jobs, capsys, tmp_path):
    root, name = jobs
    plain = tmp_path / "r.csv"
    plain.write_text("t_s,value,unit\n0,1,ohm\n1,2,ohm\n2,oops,ohm\n")
    assert main(["import", str(plain), "--job", name, "--jobs", str(root)]) == 4
    assert "r.csv line 4" in capsys.readouterr().err
    capture = root / name / "captures" / "0002-capture.jsonl"
    assert capture.read_text().count('"reading"') == 2
    assert "could not be read" in capture.read_text()


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (["export", "nothing"], 4),
        (["import", "nothing.csv"], 4),
        (["import", "{csv}", "--started", "noon"], 2),
        (["export", "{job}", "--format", "parquet"], 2),
        (["export", "{job}", "--output", "{csv}"], 5),
    ],
)
def test_mistakes_are_said_in_one_sentence_with_their_code(jobs, capsys, tmp_path, args, code):
    root, name = jobs
    plain = tmp_path / "r.csv"
    plain.write_text("t_s,value,unit\n0,1,ohm\n")
    filled = [arg.format(csv=plain, job=name) for arg in args]
    assert main([*filled, "--jobs", str(root)]) == code
    assert capsys.readouterr().err.count("\n") == 1
    assert len(list(root.iterdir())) == 1
