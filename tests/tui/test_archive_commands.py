"""``meterlink archive`` and ``meterlink ask`` as a user runs them."""

import csv
import json
import os
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest
from pyarrow import parquet

from tests.many_jobs import make_jobs
from tui.cli import main
from tui.plain.answers import COLUMNS

JOBS = 10


@pytest.fixture(scope="module")
def archived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("archived")
    make_jobs(root / "jobs", JOBS, readings=30, years=0.3)
    assert main(["archive", str(root / "set"), "--jobs", str(root / "jobs")]) == 0
    return root


def test_archive_says_what_it_brought_in_and_names_what_is_not_whole(archived, tmp_path, capsys):
    from shutil import copytree

    copytree(archived / "jobs", tmp_path / "jobs")
    name = min(path.name for path in (tmp_path / "jobs").iterdir())
    log = tmp_path / "jobs" / name / "log.jsonl"
    log.write_bytes(log.read_bytes()[:-10])
    args = ["archive", str(tmp_path / "set"), "--jobs", str(tmp_path / "jobs")]
    assert main(args) == 0
    out, err = capsys.readouterr()
    assert out == f"{tmp_path / 'set'}: {JOBS} jobs brought in: 1 open, {JOBS - 1} whole\n"
    assert err.startswith(f"{name}: open. ")
    assert main([*args, "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)["summary"]
    assert (summary["archived"], summary["states"]) == (0, {})


def test_sql_over_an_archive_and_over_the_jobs_themselves_gives_the_same(archived, capsys):
    sql = "SELECT job, step, verdict, value FROM verdicts ORDER BY ALL"
    assert main(["ask", "--archive", str(archived / "set"), "--sql", sql, "--json"]) == 0
    one = capsys.readouterr().out
    assert main(["ask", "--jobs", str(archived / "jobs"), "--sql", sql, "--json"]) == 0
    assert capsys.readouterr().out == one
    rows = [json.loads(line) for line in one.splitlines()]
    assert len({row["job"] for row in rows}) == JOBS
    assert {row["verdict"] for row in rows} <= {"in-window", "above"}


def test_readings_are_there_for_whoever_asks_for_them(archived, capsys):
    sql = "SELECT count(*) AS n, sum(overload::INT) AS over, min(at_utc) AS first FROM readings"
    assert main(["ask", "--jobs", str(archived / "jobs"), "--sql", sql, "--json"]) == 0
    (row,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert (row["n"], row["over"]) == (JOBS * 30, 0)
    assert row["first"] == "2016-01-04T08:30:00.000Z"


def test_every_ready_question_is_listed_and_gives_a_table_and_a_picture(archived, capsys):
    assert main(["ask", "--json"]) == 0
    names = [json.loads(line)["question"] for line in capsys.readouterr().out.splitlines()]
    assert len(names) == 7
    for name in names:
        assert main(["ask", name, "--archive", str(archived / "set")]) == 0
        heading, *rows = capsys.readouterr().out.splitlines()
        assert rows
        assert len(heading.split()) > 3
        assert main(["ask", name, "--archive", str(archived / "set"), "--picture"]) == 0
        assert capsys.readouterr().err == ""
    assert main(["ask", "spread", "--archive", str(archived / "set"), "--picture"]) == 0
    drawn = capsys.readouterr().out.splitlines()
    primaries = [line for line in drawn if line.startswith("pump-set-demo primary")]
    assert primaries
    for line in primaries:  # its window is the scale: 0.7 at the left end, 1.0 at the right
        picture = line[-COLUMNS:]
        assert (picture[0], picture[-1]) == ("|", "|")
        assert picture.count("o") == 1


def test_answers_are_written_as_what_the_file_is_called(archived, tmp_path, capsys):
    sql = "SELECT job, at_utc, '=1+1' AS said, sum(captures) OVER () AS all_of_them FROM jobs"
    ask = ["ask", "--archive", str(archived / "set"), "--sql", f"{sql} ORDER BY job", "--output"]
    for ending in ("csv", "parquet", "xlsx"):
        assert main([*ask, str(tmp_path / f"a.{ending}")]) == 0
        assert f"{JOBS} rows" in capsys.readouterr().err
    with (tmp_path / "a.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == JOBS
    assert (rows[0]["said"], rows[0]["all_of_them"]) == ("'=1+1", str(JOBS))
    assert rows[0]["at_utc"] == "2016-01-04T08:30:00.000Z"
    assert parquet.read_table(tmp_path / "a.parquet").num_rows == JOBS
    sheet = openpyxl.load_workbook(tmp_path / "a.xlsx").active
    assert [cell.value for cell in sheet[1]] == ["job", "at_utc", "said", "all_of_them"]
    assert (sheet["C2"].value, sheet["C2"].data_type, sheet["D2"].value) == ("=1+1", "s", JOBS)
    assert sheet["B2"].is_date
    assert main([*ask, str(tmp_path / "a.csv")]) == 5, "nothing is written over"


def test_a_page_has_the_table_and_the_picture_and_takes_no_text_for_markup(archived, tmp_path):
    class Page(HTMLParser):
        def __init__(self) -> None:
            super().__init__()
            self.tags: list[str] = []
            self.words: list[str] = []

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            self.tags.append(tag)
            assert not any(name.startswith("on") or name in ("src", "href") for name, _ in attrs)

        def handle_data(self, data: str) -> None:
            self.words.append(data)

    hostile = "<script>alert(1)</script>"
    for name, args in (("spread", ["spread"]), ("sql", ["--sql", f"SELECT '{hostile}' AS x"])):
        target = tmp_path / f"{name}.html"
        words = ["ask", *args, "--archive", str(archived / "set"), "--output", str(target)]
        assert main(words) == 0
        page = Page()
        page.feed(target.read_text(encoding="utf-8"))
        assert "script" not in page.tags
        assert ("svg" in page.tags) is (name == "spread")
        assert page.tags.count("td") % page.tags.count("th") == 0
    assert hostile in page.words


def test_an_exported_workbook_is_one(archived, tmp_path, capsys):
    job = min(path.name for path in (archived / "jobs").iterdir())
    target = tmp_path / "holds.xlsx"
    args = ["export", job, "--jobs", str(archived / "jobs"), "--holds", "--output", str(target)]
    assert main(args) == 0
    sheet = openpyxl.load_workbook(target).active
    assert sheet.max_row == 3
    assert [cell.value for cell in sheet[1]][:2] == ["capture", "step"]


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["spraed"], "no question “spraed”"),
        (["spread", "--sql", "SELECT 1"], "not both"),
        (["--sql", "SELECT 1", "--picture"], "--picture"),
        (["spread", "--format", "xlsx"], "--output"),
        (["spread", "--output", "a.docx"], ".xlsx"),
        (["--sql", "DROP VIEW jobs"], "SELECT"),
        (["--sql", "SELECT * FROM coils"], "coils"),
    ],
)
def test_what_makes_no_sense_is_one_sentence_and_exit_2(archived, capsys, args, says):
    assert main(["ask", *args, "--archive", str(archived / "set")]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert says in line


def test_an_archive_that_is_not_there_is_named(tmp_path, capsys):
    assert main(["ask", "spread", "--archive", str(tmp_path / "nowhere")]) == 4
    assert "holds no archive" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("lacks", "args"),
    [
        ("pyarrow", ["archive", "set"]),
        ("pyarrow", ["ask", "spread", "--archive", "set"]),
        ("duckdb", ["ask", "spread", "--archive", "{set}"]),
        ("xlsxwriter", ["ask", "spread", "--archive", "{set}", "--output", "a.xlsx"]),
    ],
)
def test_without_the_extra_one_sentence_has_the_line_that_installs_it(
    archived, tmp_path, lacks, args
):
    code = (
        f"import sys\nclass Lacks:\n    def find_spec(self, name, *_):\n"
        f"        if name.partition('.')[0] == {lacks!r}: raise ModuleNotFoundError(name)\n"
        "sys.meta_path.insert(0, Lacks())\nfrom tui.cli import main\nsys.exit(main(sys.argv[1:]))"
    )
    words = [word.format(set=archived / "set") for word in args]
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True, text=True, timeout=120, check=False, cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert done.returncode == 2, done.stderr
    (line,) = done.stderr.splitlines()
    assert "pip install 'meterlink[archive]'" in line
    assert list(tmp_path.iterdir()) == []
