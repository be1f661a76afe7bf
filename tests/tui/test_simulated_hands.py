"""``meterlink simulate`` with a scenario in one process, ``meterlink bench`` in another."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from captures.job.job import Job
from captures.job.verify_job import verify_job
from captures.record.verify import State
from meterlink.events import CommandReceived, Judged
from tests.tui.processes import ROOT, command, home_of, run


@pytest.fixture
def served(tmp_path: Path, request) -> Iterator[tuple[str, list[str]]]:
    """Serve a scenario; yield the port, and what was said of it."""
    words = ("simulate", "--scenario", *request.param)
    with subprocess.Popen(
        command(*words), stdout=subprocess.PIPE, text=True, env=home_of(tmp_path), cwd=ROOT
    ) as process:
        try:
            assert process.stdout is not None
            said = [process.stdout.readline() for _ in range(4)]
            yield said[0].split()[1], said
        finally:
            process.kill()


def played(home: Path, port: str, title: str) -> Job:
    """Work a job on the simulated meter with nobody at the keyboard; return it."""
    words = ("--port", port, "--profile", "pump-set-demo", "--new", title)
    done = run(home, "bench", "--plain", "--jobs", str(home / "jobs"), *words)
    assert done.returncode == 0, done.stderr
    assert "simulated hands play the probes" in done.stdout
    assert "the card is done" in done.stdout
    (folder,) = (home / "jobs").glob(f"*-{title}")
    return Job(folder)


def verdicts(job: Job) -> dict[str, str]:
    """Return the last verdict of each step and position."""
    judged = [e.event for e in job.entries() if isinstance(e.event, Judged)]
    return {f"{e.step} {e.position}".strip(): e.verdict.value for e in judged}


@pytest.mark.parametrize("served", [("open-secondary",)], indirect=True)
def test_the_hands_wait_for_one_bench_after_another_and_play_the_job_to_its_end(served, tmp_path):
    port, said = served
    assert f"meterlink bench --port {port} --profile pump-set-demo" in said[1]
    assert "waits for a reader" in said[2]
    host = port.split("::")[2]
    for title, name in (("first", port), ("second", f"socket://127.0.0.1:{host}")):
        job = played(tmp_path, name, title)
        assert verdicts(job)["primary"] == "in-window"
        assert verdicts(job)["secondary"] == "open"
        assert all(part.state is State.WHOLE for part in verify_job(job))
        assert {
            e.event.command.who for e in job.entries() if isinstance(e.event, CommandReceived)
        } == {"scripted hands"}
        (capture,) = job.captures()
        assert '"simulated":true' in capture.read_text().splitlines()[0]


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals")
@pytest.mark.parametrize("served", [("spring-service", "--pty")], indirect=True)
def test_they_hear_a_bench_that_reads_over_a_pseudo_terminal(served, tmp_path):
    port, _ = served
    job = played(tmp_path, port, "serial")
    assert set(verdicts(job).values()) <= {"in-window", "open"}


@pytest.mark.parametrize("served", [("spring-service",)], indirect=True)
def test_for_any_other_reader_they_probe_in_turn(served, tmp_path):
    port, _ = served
    done = run(tmp_path, "read", "--port", port, "--count", "200", "--json")
    assert done.returncode == 0, done.stderr
    overloads = ['"overload":true' in line.replace(" ", "") for line in done.stdout.splitlines()]
    assert overloads[0], "they begin with the first reader, not before"
    assert not all(overloads)
