"""Jobs into a data set: all of them, once, whole or named as what they are."""

import json
import os
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from captures.archive.answers import asking
from captures.archive.archiver import Brought, archive_jobs
from captures.archive.dataset import DataSet, adding
from captures.archive.tables import TABLES, UCUM
from captures.exchange.export import reading_rows
from captures.job.store import JobStore
from captures.job.striking import strike
from meterlink.errors import InUseError, UnreadableError
from meterlink.events import Held, Note
from tests.many_jobs import Made, make_jobs

JOBS = 12


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Made]]:
    root = tmp_path_factory.mktemp("made")
    return root, make_jobs(root, JOBS, readings=150, years=0.5)


@pytest.fixture
def root(made: tuple[Path, list[Made]], tmp_path: Path) -> Path:
    """A copy of the jobs, to be damaged."""
    return Path(shutil.copytree(made[0], tmp_path / "jobs"))


def archive(root: Path, where: Path | DataSet) -> list[Brought]:
    brought: list[Brought] = []
    data = where if isinstance(where, DataSet) else DataSet(str(where))
    archive_jobs(JobStore(root), data, site="North Shed", tell=brought.append)
    return brought


def ask(where: Path | DataSet, sql: str) -> list[dict[str, Any]]:
    with asking(where if isinstance(where, DataSet) else DataSet(str(where))) as asker:
        rows: list[dict[str, Any]] = asker.ask(sql).to_pylist()
        return rows


def files_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*.parquet")
    }


def test_every_job_is_there_with_what_was_measured_where_when_and_by_whom(made, tmp_path):
    root, jobs = made
    archive(root, tmp_path / "set")
    found = ask(
        tmp_path / "set",
        "SELECT job, step, corrected, temperature, window_low, window_high, meter, who, engine,"
        " profile, at_utc, record, site, year, month FROM verdicts WHERE stands",
    )
    by_step = {(row["job"], row["step"]): row for row in found}
    assert len(by_step) == len(found) == 2 * JOBS
    for job in jobs:
        primary = by_step[job.name, "primary"]
        assert primary["corrected"] == job.primary
        assert by_step[job.name, "secondary"]["corrected"] == job.secondary
        assert (primary["window_low"], primary["window_high"]) == (0.7, 1.0)
        assert (primary["temperature"], primary["meter"]) == (job.celsius, job.meter)
        assert (primary["who"], primary["engine"]) == (job.who, job.engine)
        assert (primary["profile"], primary["record"]) == ("pump-set-demo", "whole")
        assert (primary["site"], primary["year"]) == ("north-shed", job.began.year)
        assert primary["month"] == job.began.month
        after = primary["at_utc"] - job.began.replace(tzinfo=None)
        assert timedelta(0) < after < timedelta(seconds=20)


def test_every_reading_and_hold_of_the_records_is_there(made, tmp_path):
    root, jobs = made
    archive(root, tmp_path / "set")
    store = JobStore(root)
    job = store.job(jobs[3].name)
    rows = ask(
        tmp_path / "set",
        f"SELECT capture, t_s, value, unit, overload, resolution, quantity FROM readings"
        f" WHERE job = '{job.name}' ORDER BY t_s",
    )
    recorded = [row for path in job.captures() for row in reading_rows(path)]
    assert [tuple(row.values()) for row in rows] == [
        (r.capture, r.t_s, r.value, r.unit, r.overload, r.resolution, r.quantity) for r in recorded
    ]
    held = {
        (j.name, e.event.t): e.event.value
        for j in store.jobs()
        for e in j.entries()
        if isinstance(e.event, Held)
    }
    kept = ask(tmp_path / "set", "SELECT job, t_s, value, stands, lift_t_s FROM holds")
    assert {(row["job"], row["t_s"]): row["value"] for row in kept} == held
    assert len(kept) == len(held)
    assert sum(not row["stands"] for row in kept) == sum(job.redone for job in jobs)


def test_a_second_run_brings_nothing_in_and_changes_nothing(made, tmp_path):
    root, _ = made
    assert len(archive(root, tmp_path / "set")) == JOBS
    before = files_of(tmp_path / "set")
    assert archive(root, tmp_path / "set") == []
    assert files_of(tmp_path / "set") == before


def test_a_job_that_went_on_is_brought_in_again_and_counts_once(root, tmp_path):
    archive(root, tmp_path / "set")
    before = files_of(tmp_path / "set")
    name = sorted(path.name for path in root.iterdir())[2]
    with JobStore(root).resume(name) as job:
        job.log.append(Note(t=0.0, text="the owner called"))
    assert [brought.job for brought in archive(root, tmp_path / "set")] == [name]
    after = files_of(tmp_path / "set")
    assert {path: after[path] for path in before} == before, "files are only ever added"
    assert ask(tmp_path / "set", "SELECT count(*) AS n FROM jobs") == [{"n": JOBS}]
    counted = ask(
        tmp_path / "set", "SELECT job, step, count(*) FROM holds GROUP BY ALL HAVING count(*) > 2"
    )
    assert counted == []


def test_a_job_that_is_still_worked_on_is_brought_in_open_and_then_whole(root, tmp_path):
    name = min(path.name for path in root.iterdir())
    with JobStore(root).resume(name) as job:
        job.log.append(Note(t=0.0, text="the probes are out"))
        job.log.sync()
        brought = {one.job: one.record for one in archive(root, tmp_path / "set")}
        assert brought.pop(name) == "open"
        assert set(brought.values()) == {"whole"}
        # A backup that is taken now is the same: what is there is read, and is called open.
        backup = Path(shutil.copytree(root, tmp_path / "backup"))
    assert archive(backup, tmp_path / "set") == []
    assert [(one.job, one.record) for one in archive(root, tmp_path / "set")] == [(name, "whole")]
    rows = ask(tmp_path / "set", f"SELECT record FROM jobs WHERE job = '{name}'")
    assert rows == [{"record": "whole"}]


def damage(root: Path) -> dict[str, str]:
    """Break some jobs, each in its own way; return what each should be called."""
    names = sorted(path.name for path in root.iterdir())
    open_, altered, unreadable, newer, gone, capture = (root / name for name in names[:6])
    log = open_ / "log.jsonl"
    log.write_bytes(log.read_bytes()[:-300])
    log = altered / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(b'"primary"', b'"prImary"', 1))
    (unreadable / "log.jsonl").write_bytes(b"\x00\xffnothing\n" * 9)
    log = newer / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(b'"version":"1', b'"version":"9', 1))
    next((gone / "captures").iterdir()).unlink()
    file = next((capture / "captures").iterdir())
    file.write_bytes(file.read_bytes().replace(b'"value":0.9', b'"value":0.8', 1))
    return {
        open_.name: "open",
        altered.name: "altered",
        unreadable.name: "unreadable",
        newer.name: "unreadable",
        # What proves that more was there makes a record cut; some checks call it altered.
        gone.name: "altered|cut",
        capture.name: "altered",
    }


def test_broken_jobs_are_archived_with_their_state_named(root, tmp_path):
    expected = damage(root)
    brought = {one.job: one for one in archive(root, tmp_path / "set")}
    rows = {r["job"]: r for r in ask(tmp_path / "set", "SELECT job, record, why FROM jobs")}
    assert len(rows) == len(brought) == JOBS
    for name, row in rows.items():
        state = expected.get(name, "whole")
        assert row["record"] in state.split("|")
        assert row["record"] == brought[name].record
        assert bool(row["why"]) == (state != "whole")
    newer = next(row for row in rows.values() if "newer" in row["why"])
    assert "update meterlink" in newer["why"]
    every_row = ask(
        tmp_path / "set",
        " UNION ALL ".join(f"SELECT DISTINCT job, record FROM {table}" for table in TABLES),
    )
    assert all(row["record"] == rows[row["job"]]["record"] for row in every_row)


def test_a_broken_job_is_brought_in_once_and_again_when_it_was_put_right(root, tmp_path):
    whole = root.parent / "backup"
    shutil.copytree(root, whole)
    broken = damage(root)
    archive(root, tmp_path / "set")
    assert archive(root, tmp_path / "set") == []
    again = {brought.job: brought.record for brought in archive(whole, tmp_path / "set")}
    readable = {name for name, state in broken.items() if state != "unreadable"}
    assert readable <= set(again)
    assert set(again.values()) == {"whole"}


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(share=st.floats(0, 1), seed=st.integers(0, 2**32))
def test_a_log_that_is_cut_anywhere_gives_a_beginning_of_its_rows_and_is_never_whole(
    made, tmp_path_factory, share, seed
):
    folder, jobs = made
    root = tmp_path_factory.mktemp("cut")
    shutil.copytree(folder / jobs[0].name, root / jobs[0].name)
    log = root / jobs[0].name / "log.jsonl"
    data = log.read_bytes()
    log.write_bytes(data[: int(share * (len(data) - 1))])
    (brought,) = archive(root, root / "set")
    assert brought.record in ("open", "cut", "altered", "unreadable")
    assert brought.why
    rows = ask(root / "set", "SELECT corrected FROM verdicts ORDER BY t_s")
    true = [jobs[0].primary * 1.3, jobs[0].primary, jobs[0].secondary]
    true = true if jobs[0].redone else true[1:]
    assert [row["corrected"] for row in rows] == true[: len(rows)]


KILLED = """
import os, sys
from pathlib import Path
from captures.archive import dataset
from captures.archive.archiver import archive_jobs
from captures.job.store import JobStore
from captures.job.striking import strike
dataset.BatchWriter._put = lambda *_: os._exit(9)  # all files have their names, and then
archive_jobs(JobStore(Path(sys.argv[1])), dataset.DataSet(sys.argv[2]))
"""


def test_what_a_killed_run_has_left_counts_for_nothing_and_is_cleared_away(made, tmp_path):
    root, _ = made
    where = tmp_path / "set"
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(root), str(where)], check=False, timeout=120
    )
    assert done.returncode == 9
    left = set(files_of(where))
    assert left
    assert not DataSet(str(where)).exists
    assert ask(where, "SELECT count(*) AS n FROM jobs") == [{"n": 0}]
    assert len(archive(root, where)) == JOBS
    assert not left & set(files_of(where))


def test_a_run_that_fails_leaves_nothing(made, tmp_path, monkeypatch):
    data = DataSet(str(tmp_path / "set"))

    def full(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        archive_jobs(JobStore(made[0]), data, tell=full)
    assert files_of(tmp_path / "set") == {}
    assert not list((tmp_path / "set").rglob("*.part"))


def test_two_runs_at_once_are_refused_in_a_folder(made, tmp_path):
    with adding(DataSet(str(tmp_path / "set"))), pytest.raises(InUseError, match="another run"):
        archive(made[0], tmp_path / "set")


def test_where_there_are_no_locks_a_job_that_two_runs_brought_in_counts_once(made, tmp_path):
    one, other = DataSet(str(tmp_path / "set")), DataSet(str(tmp_path / "set"))
    one.folder = other.folder = None  # as an object store
    assert len(archive(made[0], one)) == len(archive(made[0], other)) == JOBS
    twice = ask(tmp_path / "set", "SELECT job, count(*) AS n FROM jobs GROUP BY job")
    assert [row["n"] for row in twice] == [1] * JOBS
    holds = ask(tmp_path / "set", "SELECT count(*) AS n, count(DISTINCT batch) AS b FROM holds")
    assert holds[0]["b"] == 1


def test_a_store_that_is_no_folder_works_as_one_does(made):
    data = DataSet("mock:///shelf/archive")  # pyarrow's own, in memory
    assert data.folder is None
    assert len(archive(made[0], data)) == JOBS
    assert archive(made[0], data) == []
    assert ask(data, "SELECT count(*) AS n FROM jobs") == [{"n": JOBS}]


def test_a_file_that_is_gone_or_cut_is_named(made, tmp_path):
    archive(made[0], tmp_path / "set")
    file = min((tmp_path / "set" / "holds").rglob("*.parquet"))
    file.write_bytes(file.read_bytes()[:-20])
    with pytest.raises(UnreadableError, match=file.name), asking(DataSet(str(tmp_path / "set"))):
        pass


def test_a_data_set_of_a_newer_program_is_refused(made, tmp_path):
    archive(made[0], tmp_path / "set")
    (record,) = (tmp_path / "set" / "batches").iterdir()
    record.write_text(record.read_text().replace('"version":"1.0"', '"version":"2.0"'))
    with pytest.raises(UnreadableError, match="newer program"):
        DataSet(str(tmp_path / "set"))


def test_columns_that_a_later_version_adds_are_empty_in_older_files(made, tmp_path, monkeypatch):
    from captures.archive import tables

    archive(made[0], tmp_path / "set")
    later = tables.Column("humidity", "number", "Of the air.", "%")
    monkeypatch.setitem(tables.TABLES, "holds", (*TABLES["holds"], later))
    rows = ask(tmp_path / "set", "SELECT count(*) AS n, count(humidity) AS h FROM holds")
    assert rows[0]["n"] > 0
    assert rows[0]["h"] == 0


def test_the_description_is_a_data_package_and_names_every_file_and_unit(made, tmp_path):
    from frictionless import Package  # the reference implementation of the standard

    archive(made[0], tmp_path / "set")
    described = json.loads((tmp_path / "set" / "datapackage.json").read_text())
    package = Package.from_descriptor(described)
    assert package.metadata_valid if hasattr(package, "metadata_valid") else package.to_descriptor()
    assert {path for r in described["resources"] for path in r["path"]} == set(
        files_of(tmp_path / "set")
    )
    units = {
        f["unit"] for r in described["resources"] for f in r["schema"]["fields"] if "unit" in f
    }
    # The case sensitive codes of The Unified Code for Units of Measure, tables 1 to 4, from memory:
    # metre, second, degree Celsius, ohm, volt, ampere, farad, hertz, newton, percent.
    assert units | set(UCUM.values()) <= {
        "1", "s", "Cel", "Ohm", "%", "V", "A", "F", "Hz", "m", "N.m",
    }  # fmt: skip
    for resource in described["resources"]:
        from pyarrow import parquet

        names = parquet.read_schema(tmp_path / "set" / resource["path"][0]).names
        in_folders = ["site", "year", "month"]
        assert [f["name"] for f in resource["schema"]["fields"]] == names + in_folders
        assert all(f["description"] for f in resource["schema"]["fields"])


def test_other_tools_read_the_same_data(made, tmp_path):
    """What one machine is too small for: Dask, by the files that the description names."""
    import dask
    import pyarrow.parquet

    archive(made[0], tmp_path / "set")
    described = json.loads((tmp_path / "set" / "datapackage.json").read_text())
    readings = next(r for r in described["resources"] if r["name"] == "readings")

    @dask.delayed
    def part(path: str) -> tuple[int, float]:
        values = pyarrow.parquet.read_table(tmp_path / "set" / path, columns=["value"])["value"]
        return len(values), sum(values.to_pylist())

    parts = dask.compute(*map(part, readings["path"]), scheduler="synchronous")
    (ours,) = ask(tmp_path / "set", "SELECT count(*) AS n, sum(value) AS total FROM readings")
    assert sum(count for count, _ in parts) == ours["n"]
    assert sum(total for _, total in parts) == pytest.approx(ours["total"])


def test_processes_read_what_one_process_reads(made, tmp_path, monkeypatch):
    from captures.archive import archiver

    archive(made[0], tmp_path / "one")
    monkeypatch.setattr(archiver, "_WORTH_WORKERS", 2)
    monkeypatch.setattr(archiver, "_AT_ONCE", 5)
    archive(made[0], tmp_path / "two")
    for table in TABLES:
        sql = f"SELECT * EXCLUDE (batch) FROM {table} ORDER BY ALL"
        assert ask(tmp_path / "one", sql) == ask(tmp_path / "two", sql)


def test_a_link_out_of_the_job_is_not_followed(root, tmp_path):
    if not hasattr(os, "symlink"):
        pytest.skip("no links here")
    name = min(path.name for path in root.iterdir())
    capture = next((root / name / "captures").iterdir())
    elsewhere = tmp_path / "elsewhere.jsonl"
    capture.rename(elsewhere)
    capture.symlink_to(elsewhere)
    archive(root, tmp_path / "set")
    (row,) = ask(tmp_path / "set", f"SELECT readings, record FROM jobs WHERE job = '{name}'")
    assert row == {"readings": 0, "record": "altered"}


def test_a_job_whose_texts_were_struck_is_the_same_job_and_replaces_itself(tmp_path):
    store = JobStore(tmp_path / "jobs")
    with store.create("Portable pump 3, boathouse") as job:
        job.log.append(Note(t=1.0, text="a line"))
    archive(store.root, tmp_path / "set")
    struck, lines = strike(job.job, "boathouse")
    assert lines == 1
    assert [one.job for one in archive(store.root, tmp_path / "set")] == [struck.name]
    [row] = ask(tmp_path / "set", "SELECT job, title, record FROM jobs")
    assert (row["job"], row["record"]) == (struck.name, "whole")
    assert "boathouse" not in row["title"]
