"""The whole job on the simulated bench, as a user runs it without a terminal."""

import json
from pathlib import Path

import pytest

from captures.job.job import Job
from meterlink.events import Evidence, Judged, StepEnded, Verdict
from tui.cli import main


def run_demo(folder: Path, *more: str) -> Job:
    assert main(["demo", "--plain", "--jobs", str(folder), *more]) == 0
    (job,) = folder.iterdir()
    return Job(job)


def judged(job: Job) -> list[Judged]:
    return [entry.event for entry in job.entries() if isinstance(entry.event, Judged)]


def test_the_job_goes_from_bytes_to_verdicts_in_the_jobs_folder(tmp_path, capsys):
    job = run_demo(tmp_path)
    verdicts = {(event.step, event.position): event for event in judged(job)}
    # Common practice, no published source: primary about 0.7 to 1 ohm, secondary about 4k to 7k
    # ohm, a stop switch near 0 ohm closed and over range open.
    assert 0.7 <= verdicts["primary", ""].corrected <= 1.0
    assert 4e3 <= verdicts["secondary", ""].corrected <= 7e3
    assert verdicts["stop-switch", "stop"].corrected < 1.0
    assert verdicts["stop-switch", "run"].verdict is Verdict.OPEN
    assert verdicts["stop-switch", "run"].evidence is Evidence.SAME_TOUCH
    assert all(event.clear for event in verdicts.values())
    printed = capsys.readouterr().out
    assert "Primary winding" in printed
    for path in (job.log_path, *job.captures()):
        assert str(path) in printed


def test_the_same_seed_gives_the_same_readings_and_another_seed_others(tmp_path):
    def readings(seed: str, name: str) -> list[str]:
        (capture,) = run_demo(tmp_path / name, "--seed", seed).captures()
        return [line for line in capture.read_text().splitlines() if '"reading"' in line]

    first = readings("3", "a")
    assert first == readings("3", "b")
    assert first != readings("4", "c")


@pytest.mark.parametrize("seed", range(5, 15))
def test_the_demo_comes_to_its_end_whatever_the_seed(tmp_path, seed):
    job = run_demo(tmp_path, "--seed", str(seed))
    ended = {e.event.step: e.event.outcome for e in job.entries() if isinstance(e.event, StepEnded)}
    assert ended["primary"] == "in-window"
    assert ended["secondary"] == "in-window"
    assert ended["stop-switch"] == "passed"


def test_analysing_the_capture_gives_the_verdicts_that_the_bench_gave(tmp_path, capsys):
    job = run_demo(tmp_path)
    capsys.readouterr()
    (capture,) = job.captures()
    assert main(["analyse", str(capture), "--json"]) == 0
    *holds, summary = map(json.loads, capsys.readouterr().out.splitlines())
    assert summary["summary"]["holds"] == len(holds)
    live = {event.t: event for event in judged(job) if event.value is not None}
    again = {hold["t_s"]: hold for hold in holds if hold["verdict"]}
    assert live.keys() == again.keys()
    for t, event in live.items():
        assert again[t]["value"] == event.value
        assert again[t]["corrected"] == event.corrected
        assert again[t]["verdict"] == event.verdict.value


def test_a_jobs_folder_that_cannot_be_written_is_said_before_anything_is_done(tmp_path, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    assert main(["demo", "--plain", "--jobs", str(blocked)]) == 5
    said = capsys.readouterr().err
    assert said.startswith("meterlink: ")
    assert said.count("\n") == 1


def test_an_unknown_scenario_is_wrong_usage(tmp_path, capsys):
    assert main(["demo", "--plain", "--jobs", str(tmp_path), "--scenario", "nope"]) == 2
    assert "nope" in capsys.readouterr().err


@pytest.mark.parametrize("seed", ["-5", "x", "1.5"])
def test_a_seed_that_is_none_is_wrong_usage(tmp_path, capsys, seed):
    assert main(["demo", "--plain", "--jobs", str(tmp_path), "--seed", seed]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert seed in said
    assert not list(tmp_path.iterdir())
