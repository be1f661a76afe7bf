"""The gate: no reader of records passes over what ``verify`` would say."""

import csv
import io
import json
import re

import pyarrow.parquet
import pytest

from captures.job.verify_job import check_record
from captures.record.verify import State
from tests.tui.demo_job import copy_demo
from tui.cli import main

STEP = b'"kind":"step-began"'
SHIFTED = b'"kind":"suep-began"'
"""One bit of one letter: the steps that follow would be taken for the one before."""

READERS = {
    "analyse": ["analyse", "{capture}"],
    "export": ["export", "{capture}"],
    "export of a job": ["export", "{job}"],
    "holds": ["export", "{capture}", "--holds"],
    "finding": ["finding", "{job}"],
    "jobs show": ["jobs", "show", "{job}"],
    "replay --check": ["replay", "{capture}", "--check"],
    "replay --plain": ["replay", "{capture}", "--plain", "--speed", "max"],
    "report": ["report", "{job}"],
}
WITH_JSON = ["analyse", "finding", "jobs show", "replay --check"]


@pytest.fixture
def job(tmp_path):
    root, name = copy_demo(tmp_path / "jobs")
    return root / name


def capture_of(job):
    [path] = (job / "captures").iterdir()
    return path


def alter(job):
    path = capture_of(job)
    data = path.read_bytes()
    steps = data.count(STEP) * 2 // 3
    path.write_bytes(data.replace(STEP, SHIFTED, steps).replace(SHIFTED, STEP, steps - 1))


def bad(job):
    lines = capture_of(job).read_bytes().split(b"\n")
    return next(n for n, line in enumerate(lines, 1) if SHIFTED in line)


def cut(job):
    path = capture_of(job)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[: len(lines) // 2]))


def words(name, job, *more):
    return [w.format(capture=capture_of(job), job=job) for w in READERS[name]] + list(more)


@pytest.mark.parametrize("name", READERS)
def test_an_altered_record_is_refused_and_named_with_its_line(job, capsys, name):
    alter(job)
    assert main(words(name, job)) == 4
    said = capsys.readouterr()
    assert said.out == ""
    assert f"altered, first at line {bad(job)}" in said.err
    assert "--damaged-too" in said.err
    assert said.err.count("\n") == 1
    assert not (job / "report.html").exists()


@pytest.mark.parametrize("name", READERS)
def test_an_altered_record_is_read_where_that_is_asked_for_and_says_so_first(job, capsys, name):
    alter(job)
    assert main(words(name, job, "--damaged-too")) in {0, 1}
    said = capsys.readouterr()
    assert "altered" in (said.err + said.out).splitlines()[0]


@pytest.mark.parametrize("name", READERS)
def test_a_record_that_was_cut_is_read_and_says_so_first(job, capsys, name):
    cut(job)
    assert main(words(name, job)) == 0
    said = capsys.readouterr()
    first = (said.err + said.out).splitlines()[0]
    assert "cut, it ends at line" in first
    assert "the job log says that it had" in first


@pytest.mark.parametrize("name", ["analyse", "export", "holds", "replay --check"])
def test_a_record_without_a_final_seal_says_where_it_ends(job, capsys, tmp_path, name):
    data = capture_of(job).read_bytes()
    alone = tmp_path / "alone.jsonl"
    alone.write_bytes(data[: len(data) // 2])
    assert main([w.format(capture=alone) for w in READERS[name]]) == 0
    said = capsys.readouterr()
    whole_lines = data[: len(data) // 2].count(b"\n")
    assert f"open, it ends at line {whole_lines} " in (said.err + said.out).splitlines()[0]


@pytest.mark.parametrize("name", WITH_JSON)
@pytest.mark.parametrize(("damage", "record"), [(None, "whole"), (cut, "cut"), (alter, "altered")])
def test_json_says_the_state_of_the_record(job, capsys, name, damage, record):
    if damage is not None:
        damage(job)
    code = main(words(name, job, "--json"))
    assert code == (4 if record == "altered" else 0)
    facts = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {fact["record"] for fact in facts if "record" in fact} == {record}


@pytest.mark.parametrize("name", READERS)
def test_a_whole_record_says_so_first(job, capsys, name):
    assert main(words(name, job)) == 0
    said = capsys.readouterr()
    assert ": whole, " in (said.err + said.out).splitlines()[0]


def test_a_table_has_the_state_in_columns_of_its_own(job, capsys, tmp_path):
    alter(job)
    assert main(words("export", job, "--damaged-too")) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert {row["record"] for row in rows} == {"altered"}
    lines = capture_of(job).read_bytes().split(b"\n")
    before = sum(b'"kind":"reading"' in line for line in lines[: bad(job) - 1])
    assert [row["after_damage"] for row in rows] == ["0"] * before + ["1"] * (len(rows) - before)
    target = tmp_path / "a.parquet"
    assert main(words("export", job, "--damaged-too", "--output", str(target))) == 0
    table = pyarrow.parquet.read_table(target)
    assert set(table.column("record").to_pylist()) == {"altered"}
    assert sum(table.column("after_damage").to_pylist()) == len(rows) - before


def test_what_comes_after_the_damage_is_marked(job, capsys):
    alter(job)
    assert main(words("analyse", job, "--damaged-too", "--json")) == 0
    *holds, summary = map(json.loads, capsys.readouterr().out.splitlines())
    marks = [hold["after_damage"] for hold in holds]
    assert marks == sorted(marks)
    assert {True, False} == set(marks)
    assert (summary["record"], summary["summary"]["record"]) == ("altered", "altered")
    assert main(words("analyse", job, "--damaged-too")) == 0
    out = capsys.readouterr().out
    assert out.count("(after the damage)") == sum(marks)


def test_an_altered_log_is_refused_by_those_that_read_it(job, capsys):
    log = job / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(STEP, SHIFTED, 1))
    for name in ("finding", "jobs show", "report", "export of a job"):
        assert main(words(name, job)) == 4
        assert "log.jsonl: altered, first at line" in capsys.readouterr().err


def test_a_log_that_was_cut_is_told_by_what_its_captures_hold(job, capsys):
    log = job / "log.jsonl"
    lines = log.read_bytes().splitlines(keepends=True)
    log.write_bytes(b"".join(lines[: len(lines) // 2]))
    assert check_record(log).state is State.CUT
    assert main(words("finding", job, "--json")) == 0
    assert json.loads(capsys.readouterr().out)["record"] == "cut"


def test_the_report_says_at_its_top_what_state_the_record_is_in(job, capsys):
    alter(job)
    for more in ([], ["--customer"]):
        target = job / "out.html"
        assert main(words("report", job, "--damaged-too", "--output", str(target), *more)) == 0
        page = target.read_text(encoding="utf-8")
        text = re.sub(r"<style>.*?</style>|<[^>]*>", " ", page, flags=re.DOTALL)
        assert "This record was altered" in text
        at = text.index("This record was altered")
        for later in ("checks passed", "did not pass", "Nothing was judged"):
            assert later not in text[:at]
    [hashed] = [p for p in map(json.loads, _verify(job, capsys)) if p["record"] == "altered"]
    assert hashed["sha256"] == "" or hashed["sha256"] not in page


def _verify(job, capsys):
    capsys.readouterr()
    assert main(["verify", str(job), "--json"]) == 1
    return capsys.readouterr().out.splitlines()


def test_a_final_seal_that_is_none_any_more_is_no_open_record(job, capsys):
    path = capture_of(job)
    data = path.read_bytes()
    start = data.rindex(b'{"kind":"seal"')
    for at in (start + 3, start + 9, len(data) - 1):
        changed = bytearray(data)
        changed[at] ^= 1
        path.write_bytes(changed)
        assert check_record(path).state is State.ALTERED


def test_a_capture_beside_a_log_that_cannot_be_read_is_still_read(job, capsys):
    (job / "log.jsonl").write_bytes(b"no log at all\n")
    assert main(words("analyse", job)) == 0
    assert ": whole, " in capsys.readouterr().out.splitlines()[0]
