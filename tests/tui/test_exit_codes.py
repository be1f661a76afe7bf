"""Each exit code of each command that runs a bench, as the shell sees it."""

import os
import socket
import subprocess
from pathlib import Path

import pytest

from drivers.clock import MonotonicClock
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from tests.tui.processes import ROOT, command, home_of, run

BENCH = ("bench", "--plain", "--jobs", "{home}/jobs")
REPLAY = ("replay", "sound-armature", "--plain")
PRACTICE = ("practice", "--plain", "--seed", "1")
DEMO = ("demo", "--plain", "--jobs", "{home}/jobs")


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with a few things that are not as they should be."""
    (tmp_path / "bad.toml").write_text("format = 1\nnope = 2\n")
    (tmp_path / "file").write_text("no folder")
    return tmp_path


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (0, DEMO),
        (1, (*DEMO, "--scenario", "{home}/bad.toml")),
        (2, (*DEMO, "--scenario", "no-such-scenario")),
        (4, (*DEMO, "--scenario", "{home}/missing.toml")),
        (5, ("demo", "--plain", "--jobs", "{home}/file/jobs")),
        (0, (*REPLAY, "--speed", "max")),
        (2, (*REPLAY, "--speed", "0")),
        (4, ("replay", "{home}/missing.jsonl", "--plain")),
        (5, (*REPLAY, "--speed", "max", "--hide-verdict", "--answers", "{home}/file/a.jsonl")),
        (0, PRACTICE),
        (1, ("practice", "--plain", "--exercise", "{home}/bad.toml")),
        (2, (*PRACTICE, "--fault", "no-such-fault")),
        (4, ("practice", "--plain", "--exercise", "{home}/missing.toml")),
        (5, (*PRACTICE, "--jobs", "{home}/file/jobs")),
        (5, (*PRACTICE, "--trainee", "Ines", "--trainees", "{home}/file/trainees")),
        (1, (*BENCH, "--port", "/dev/no-such-port", "--profile", "{home}/bad.toml")),
        (2, (*BENCH, "--port", "/dev/no-such-port", "--profile", "no-such-profile")),
        (2, (*BENCH, "--port", "/dev/no-such-port", "--job", "a", "--new", "b")),
        (3, (*BENCH, "--port", "/dev/no-such-port", "--profile", "pump-set-demo")),
        (3, (*BENCH, "--port", "socket://127.0.0.1:{closed}", "--profile", "pump-set-demo")),
        (4, (*BENCH, "--port", "/dev/no-such-port", "--profile", "{home}/missing.toml")),
    ],
)
def test_the_exit_code_is_the_one_that_is_promised(home, code, words):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        closed = taken.getsockname()[1]
    words = [word.format(home=home, closed=closed) for word in words]
    done = run(home, *words)
    assert done.returncode == code, done.stderr
    assert done.stderr.count("\n") == (1 if code else 0)
    assert done.stderr.startswith("meterlink: " if code else "")


@pytest.mark.parametrize(("code", "jobs"), [(0, "jobs"), (5, "file/jobs")])
def test_the_bench_with_a_meter_ends_so(home, code, jobs):
    with SimulatedBench(load_scenario("spring-service"), clock=MonotonicClock()) as bench:
        words = ("--port", bench.port, "--profile", "pump-set-demo", "--jobs", str(home / jobs))
        done = run(home, "bench", "--plain", *words, typed="quit\n")
    assert done.returncode == code, done.stderr


def test_a_record_that_plays_otherwise_than_it_was_recorded_is_a_fault_found(home):
    done = run(home, "demo", "--plain", "--jobs", str(home / "jobs"))
    (capture,) = (home / "jobs").glob("*/captures/*.jsonl")
    # Without its seals it is a record that was never closed, not one that was altered.
    lines = capture.read_bytes().splitlines(keepends=True)
    never_closed = b"".join(line for line in lines if b'"kind":"seal"' not in line)
    copy = home / "copy.jsonl"
    copy.write_bytes(never_closed.replace(b'"verdict":"in-window"', b'"verdict":"open"'))
    assert copy.read_bytes() != never_closed
    done = run(home, "replay", str(copy), "--check")
    assert done.returncode == 1, done.stdout


@pytest.mark.skipif(os.name == "nt", reason="Windows can interrupt no process alone")
@pytest.mark.parametrize(
    ("words", "begun"),
    [
        (REPLAY, "s  "),
        (("practice", "--plain", "--seed", "1"), "\n"),
        (("bench", "--plain", "--profile", "pump-set-demo", "--port", "{port}"), "Read the cau"),
    ],
)
def test_an_interrupt_says_130(home, words, begun):
    with SimulatedBench(load_scenario("spring-service"), clock=MonotonicClock()) as bench:
        line = command(*(word.format(port=bench.port) for word in words))
        process = subprocess.Popen(
            line,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=home_of(home) | {"PYTHONUNBUFFERED": "1"},
            cwd=ROOT,
        )
        assert process.stdout is not None
        for said in process.stdout:
            if begun in said:
                break
        process.send_signal(2)
        _, said = process.communicate(timeout=30)
    assert process.returncode == 130, said
    assert "Traceback" not in said
