"""Questions to an archive: answers held to what went in, and no way out of the data."""

import os
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from statistics import fmean, median, stdev
from typing import Any

import numpy as np
import pytest

from captures.archive.answers import Asker, asking, may_need_readings, write_answer
from captures.archive.archiver import archive_jobs
from captures.archive.dataset import DataSet
from captures.archive.questions import QUESTIONS, NotWhole, not_whole, tolerance_interval
from captures.job.store import JobStore
from meterlink.errors import UsageError
from tests.many_jobs import Made, make_jobs

JOBS = 60


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Made]]:
    root = tmp_path_factory.mktemp("made")
    jobs = make_jobs(root / "jobs", JOBS, readings=30, years=2.0, seed=5)
    archive_jobs(JobStore(root / "jobs"), DataSet(str(root / "set")), site="north shed")
    return root, jobs


@pytest.fixture(scope="module")
def asker(made: tuple[Path, list[Made]]) -> Iterator[Asker]:
    with asking(DataSet(str(made[0] / "set"))) as asker:
        yield asker


def answer(asker: Asker, question: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = QUESTIONS[question].ask(asker).to_pylist()
    return rows


def test_spread_of_each_winding_by_profile_and_temperature(made, asker):
    rows = answer(asker, "spread")
    groups: dict[tuple[str, int], list[float]] = defaultdict(list)
    for job in made[1]:
        band = int(job.celsius // 5 * 5)
        groups["primary", band].append(job.primary)
        groups["secondary", band].append(job.secondary)
    assert {(r["winding"], r["from_celsius"]) for r in rows} == set(groups)
    for row in rows:
        values = groups[row["winding"], row["from_celsius"]]
        assert row["windings"] == len(values)
        assert row["mean"] == pytest.approx(fmean(values))
        assert row["sd"] == pytest.approx(stdev(values))
        assert row["median"] == pytest.approx(median(values))
        assert row["quartile_1"] == pytest.approx(np.quantile(values, 0.25))
        assert (row["lowest"], row["highest"]) == (min(values), max(values))


def test_drift_of_each_meter_is_the_slope_of_its_errors(made, asker):
    rows = {row["meter"]: row for row in answer(asker, "drift")}
    checks: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for job in made[1]:
        if job.error is not None:
            checks[job.meter].append((job.began.timestamp() / (365.25 * 86400), job.error))
    assert {meter: row["checks"] for meter, row in rows.items()} == {
        meter: len(points) for meter, points in checks.items()
    }
    for meter, points in checks.items():
        times, errors = zip(*points, strict=True)
        assert rows[meter]["mean_percent"] == pytest.approx(100 * fmean(errors))
        if len(points) > 1:
            slope = np.polyfit(np.array(times) - times[0], errors, 1)[0]
            assert rows[meter]["percent_a_year"] == pytest.approx(100 * slope, rel=1e-3)


def test_verdicts_by_site_month_and_technician(made, asker):
    expected: Counter[tuple[Any, ...]] = Counter()
    for job in made[1]:
        month = (job.began.year, job.began.month, job.who)
        expected[*month, "in-window"] += 1
        expected[*month, "in-window" if job.secondary <= 7000 else "above"] += 1
    rows = answer(asker, "verdicts")
    assert {(r["year"], r["month"], r["who"], r["verdict"]): r["verdicts"] for r in rows} == dict(
        expected
    )
    assert {row["site"] for row in rows} == {"north-shed"}


def test_engines_that_came_back_within_ninety_days(made, asker):
    visits: dict[str, list[Made]] = defaultdict(list)
    for job in made[1]:
        visits[job.engine].append(job)
    expected = {
        (first.name, then.name)
        for jobs in visits.values()
        for first, then in pairwise(jobs)
        if then.began - first.began <= timedelta(days=90)
    }
    assert expected
    rows = answer(asker, "comebacks")
    assert {(row["job"], row["back_as"]) for row in rows} == expected
    assert all(0 < row["days"] <= 90 for row in rows)


def test_steps_that_were_done_again(made, asker):
    (row,) = answer(asker, "redone")
    redone = sum(job.redone for job in made[1])
    assert (row["step"], row["jobs"], row["redone_in"]) == ("primary", JOBS, redone)
    assert (row["most_times"], row["mostly_because"]) == (2, "probe slipped")
    assert row["percent"] == pytest.approx(100 * redone / JOBS)


def test_how_long_steps_take(asker):
    rows = answer(asker, "times")
    assert {row["step"] for row in rows} >= {"cautions", "ambient", "primary", "secondary"}
    for row in rows:
        ordered = [row[f"{n}_s"] for n in ("shortest", "quartile_1", "median", "quartile_3")]
        assert ordered == sorted(ordered)


def test_what_was_learnt_is_an_interval_with_counts_beside_the_limits(made, asker):
    rows = {row["winding"]: row for row in answer(asker, "learnt")}
    interval = tolerance_interval([job.primary for job in made[1]])
    primary = rows["primary"]
    assert (primary["low"], primary["high"]) == pytest.approx((interval.low, interval.high))
    assert (primary["way"], primary["windings"]) == ("normal", JOBS)
    assert (primary["window_low"], primary["window_high"]) == (0.7, 1.0)
    # Sound and scrap coils together are no normal distribution, and 60 are too few otherwise.
    assert rows["secondary"]["low"] is None
    assert "93" in rows["secondary"]["way"]


def test_what_an_altered_record_says_is_left_out_and_counted(made, tmp_path):
    root, jobs = made
    name = jobs[7].name
    from shutil import copytree

    copytree(root / "jobs", tmp_path / "jobs")
    log = tmp_path / "jobs" / name / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(b'"value":', b'"valuE":', 1))
    archive_jobs(JobStore(tmp_path / "jobs"), DataSet(str(tmp_path / "set")))
    with asking(DataSet(str(tmp_path / "set"))) as asker:
        assert not_whole(asker) == [NotWhole("altered", 1, counted=False)]
        rows = answer(asker, "spread")
        assert sum(row["windings"] for row in rows) == 2 * (JOBS - 1)


def test_an_empty_archive_answers_with_no_rows(tmp_path):
    with asking(DataSet(str(tmp_path / "none"))) as asker:
        assert all(answer(asker, name) == [] for name in QUESTIONS)


@pytest.mark.parametrize(
    ("sql", "needs"),
    [
        ("SELECT * FROM holds", False),
        ("WITH a AS (SELECT * FROM Readings) SELECT * FROM a JOIN jobs USING (job)", True),
        ("SELECT * FROM query('FROM read' || 'ings')", True),
    ],
)
def test_readings_are_brought_in_for_a_question_that_may_look_at_them(sql, needs):
    assert may_need_readings(sql) is needs


SECRET = "the-only-key"

ATTACKS = {
    "reads a file": "SELECT * FROM read_text('{file}')",
    "reads a file as a table": "SELECT * FROM '{file}'",
    "reads bytes": "SELECT * FROM read_blob('{file}')",
    "reads csv": "SELECT * FROM read_csv('{file}', columns={{'a': 'VARCHAR'}})",
    "reads json": "SELECT * FROM read_json('{file}')",
    "reads parquet, even its own": "SELECT * FROM read_parquet('{set}/jobs/**/*.parquet')",
    "reads what parquet says of itself": "SELECT * FROM parquet_metadata('{set}/**/*.parquet')",
    "guesses at a file": "SELECT * FROM sniff_csv('{file}')",
    "lists a folder": "SELECT * FROM glob('{folder}/*')",
    "hides it in a query": "SELECT * FROM query('SELECT * FROM read_text(''{file}'')')",
    "hides it in a name": "SELECT * FROM query_table('{file}')",
    "hides it in a subquery": "SELECT (SELECT content FROM read_text('{file}'))",
    "goes to the network": "SELECT * FROM read_csv('http://127.0.0.1:9/x')",
    "goes to an object store": "SELECT * FROM read_parquet('s3://bucket/x')",
    "writes a file": "COPY (SELECT 1) TO '{new}'",
    "writes a data base": "ATTACH '{new}' AS other",
    "exports": "EXPORT DATABASE '{new}'",
    "imports": "IMPORT DATABASE '{folder}'",
    "loads code": "LOAD '{file}'",
    "installs code": "INSTALL httpfs",
    "opens up": "SET enable_external_access = true",
    "unlocks": "SET lock_configuration = false",
    "resets": "RESET enable_external_access",
    "by a pragma": "PRAGMA enable_external_access = true",
    "allows a folder": "SET allowed_directories = ['{folder}']",
    "spills elsewhere": "SET temp_directory = '{folder}'",
    "takes secrets": "CREATE SECRET s (TYPE s3, KEY_ID 'a', SECRET 'b')",
    "reads the environment": "SELECT getenv('ARCHIVE_SECRET')",
    "reads a variable of the program": "SELECT * FROM hidden",
    "makes a table": "CREATE TABLE mine AS SELECT 1",
    "drops a view": "DROP VIEW jobs",
    "changes what is there": "UPDATE jobs SET record = 'whole'",
    "takes one away": "DELETE FROM jobs",
    "two at once": "SELECT 1; DROP VIEW jobs",
    "opens up, then reads": "SET enable_external_access = true; SELECT * FROM '{file}'",
    "explains by doing": "EXPLAIN ANALYZE COPY (SELECT 1) TO '{new}'",
    "prepares": "PREPARE p AS SELECT * FROM read_text('{file}')",
    "calls": "CALL pragma_version()",
    "nothing": "",
    "no SQL": "how many coils?",
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_a_question_has_no_way_to_files_network_settings_or_the_program(
    made, asker, tmp_path, monkeypatch, attack
):
    file, new = tmp_path / "secret.txt", tmp_path / "new"
    file.write_text(SECRET)
    monkeypatch.setitem(os.environ, "ARCHIVE_SECRET", SECRET)
    hidden = asker.ask("SELECT 1 AS a")  # a variable that could be found by its name
    sql = ATTACKS[attack].format(file=file, folder=tmp_path, set=made[0] / "set", new=new)
    with pytest.raises(UsageError) as told:
        asker.ask(sql)
    assert SECRET not in str(told.value)
    assert "\n" not in str(told.value)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["secret.txt"]
    assert asker.ask("SELECT count(*) AS n FROM jobs").to_pylist() == [{"n": JOBS}]
    del hidden


def test_an_answer_of_many_rows_is_read_a_batch_at_a_time(made):
    root, _ = made
    with asking(DataSet(str(root / "set"))) as asker:
        answer = asker.stream("SELECT range AS n FROM range(1000000)")
        first = answer.read_next_batch()
        assert first.num_rows < 500_000
        assert first.num_rows + sum(batch.num_rows for batch in answer) == 1_000_000


@pytest.mark.parametrize("kind", ["csv", "parquet", "xlsx"])
def test_what_fails_half_way_leaves_no_file_and_is_said(made, tmp_path, kind):
    root, _ = made
    number = "CASE WHEN range < 300000 THEN 1 ELSE CAST('x' || range AS INT) END"
    sql = f"SELECT {number} FROM range(400000)"
    with asking(DataSet(str(root / "set"))) as asker, pytest.raises(UsageError) as fault:
        write_answer(asker.stream(sql), tmp_path / f"a.{kind}", kind)
    assert "cannot be answered" in str(fault.value)
    assert list(tmp_path.iterdir()) == []
