"""``meterlink bench`` on a meter that really is at a port, commands typed on standard input."""

import io
import json
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from captures.job.job import Job
from captures.record.records import encode
from drivers.clock import MonotonicClock
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.bench.bench import Bench
from meterlink.bench.snapshot import Update
from meterlink.card import BenchEvent
from meterlink.events import CommandReceived, MeterSet, StepBegan, StepEnded
from meterlink.steps.entry import STANDING
from tui.plain.json_face import MOST_WAITING, JsonFace
from tui.settings import CARDS, PROFILES


@pytest.fixture
def simulated() -> Iterator[SimulatedBench]:
    with SimulatedBench(load_scenario("spring-service"), clock=MonotonicClock()) as bench:
        yield bench


def bench(home: Path, *args: str, typed: str = "quit\n") -> subprocess.CompletedProcess[str]:
    """Run the command as a user would, with a home of its own."""
    environment = {
        **os.environ,
        "HOME": str(home),
        "XDG_CONFIG_HOME": str(home / "config"),
        "XDG_DATA_HOME": str(home / "data"),
        "APPDATA": str(home / "config"),
        "LOCALAPPDATA": str(home / "config"),
    }
    return subprocess.run(
        [sys.executable, "-m", "tui", "bench", "--plain", "--jobs", str(home / "jobs"), *args],
        input=typed,
        capture_output=True,
        text=True,
        timeout=60,
        env=environment,
        check=False,
    )


def only_job(home: Path) -> Job:
    (folder,) = (home / "jobs").iterdir()
    return Job(folder)


def test_what_is_typed_moves_the_card_and_the_meter_is_set_for_the_step(simulated, tmp_path):
    typed = "\n19 °C\nskip no time\nquit\n"
    args = ("--port", simulated.port, "--profile", "pump-set-demo", "--who", "Ines")
    done = bench(tmp_path, *args, typed=typed)
    assert done.returncode == 0, done.stderr
    events = [entry.event for entry in only_job(tmp_path).entries()]
    assert [e.command.who for e in events if isinstance(e, CommandReceived)] == ["Ines"] * 3
    ended = {e.step: e.outcome for e in events if isinstance(e, StepEnded)}
    assert ended == {"cautions": "acknowledged", "ambient": "done", "lead-zero": "skipped"}
    assert [e.step for e in events if isinstance(e, StepBegan)][-1] == "primary"
    assert [e.quantity for e in events if isinstance(e, MeterSet)] == ["resistance"] * 2


def test_every_caution_is_read_before_it_can_be_confirmed(simulated, tmp_path):
    done = bench(tmp_path, "--port", simulated.port, "--profile", "pump-set-demo", typed="\nquit\n")
    before, confirmed, _ = done.stdout.partition("acknowledged")
    assert confirmed
    assert all(caution in before for caution in STANDING)


def test_a_job_is_gone_on_with_where_it_stood_by_what_it_was_begun_with(simulated, tmp_path):
    args = ("--port", simulated.port, "--profile", "pump-set-demo", "--job", "pump 3")
    assert bench(tmp_path, *args, typed="\n19 °C\nquit\n").returncode == 0
    job = only_job(tmp_path)
    again = bench(tmp_path, "--port", simulated.port, "--job", job.name, typed="quit\n")
    assert again.returncode == 0, again.stderr
    assert len(only_job(tmp_path).captures()) == 2
    steps = [e.event.step for e in job.entries() if isinstance(e.event, StepBegan)]
    assert steps == ["cautions", "ambient", "lead-zero", "lead-zero"]


def test_meter_and_profile_are_remembered(simulated, tmp_path):
    args = ("--port", simulated.port, "--profile", "pump-set-demo")
    assert bench(tmp_path, *args).returncode == 0
    again = bench(tmp_path)
    assert again.returncode == 0, again.stderr


def test_an_interrupt_leaves_a_sealed_record_and_says_130(simulated, tmp_path):
    command = [sys.executable, "-m", "tui", "bench", "--plain", "--jobs", str(tmp_path)]
    command += ["--port", simulated.port, "--profile", "pump-set-demo"]
    if os.name == "nt":
        pytest.skip("Windows has no interrupt that a test can send to one process alone")
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdin is not None
    assert process.stdout is not None
    for line in process.stdout:  # until the card has begun
        if "Read the cautions" in line:
            break
    process.send_signal(2)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 130, said
    assert "Traceback" not in said
    (folder,) = tmp_path.iterdir()
    (capture,) = Job(folder).captures()
    assert '"final":true' in capture.read_text().splitlines()[-1]


@pytest.mark.parametrize(
    ("port", "said"),
    [
        ("TCPIP::127.0.0.1::{closed}::SOCKET", "127.0.0.1"),
        ("socket://127.0.0.1:{closed}", "127.0.0.1"),
        ("/dev/no-such-port", "/dev/no-such-port"),
    ],
)
def test_no_such_port_is_one_sentence_that_names_it(tmp_path, port, said):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        closed = taken.getsockname()[1]
    done = bench(tmp_path, "--port", port.format(closed=closed), "--profile", "pump-set-demo")
    assert done.returncode == 3
    assert done.stderr.startswith("meterlink: ")
    assert done.stderr.count("\n") == 1
    assert said in done.stderr
    assert not (tmp_path / "jobs").exists(), "a job without a meter has nothing to tell"


def test_a_mute_peer_is_said_to_be_mute(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET"
        done = bench(tmp_path, "--port", port, "--profile", "pump-set-demo")
    assert done.returncode == 3
    assert "answers" in done.stderr


def test_an_unknown_profile_is_said_before_the_meter_is_touched(simulated, tmp_path):
    done = bench(tmp_path, "--port", simulated.port, "--profile", "nope")
    assert done.returncode == 2
    assert "nope" in done.stderr
    assert not (tmp_path / "jobs").exists()


def test_what_was_typed_before_the_cautions_were_shown_acknowledges_nothing(simulated, tmp_path):
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "tui", "bench", "--plain", "--jobs", str(tmp_path)]
    command += ["--port", simulated.port, "--profile", "pump-set-demo"]
    os.write(ours, b"\n\n\n")
    process = subprocess.Popen(
        command, stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    for line in process.stdout:
        if "Read the cautions" in line:
            break
    os.write(ours, b"quit\n")
    out, said = process.communicate(timeout=30)
    os.close(ours)
    os.close(theirs)
    assert process.returncode == 0, said
    assert "acknowledged" not in out.partition("step ")[0]
    assert f"wrote {tmp_path}" in out


def test_updates_come_as_json_with_every_event_of_the_job_in_order(simulated, tmp_path):
    typed = "\n19 °C\nskip no time\nquit\n"
    args = ("--port", simulated.port, "--profile", "pump-set-demo", "--json")
    done = bench(tmp_path, *args, typed=typed)
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    events = [event for line in lines[:-1] for event in line["events"]]
    entries = [entry.event for entry in only_job(tmp_path).entries()]
    logged = [json.loads(encode(e)) for e in entries if isinstance(e, BenchEvent)]
    assert events == logged
    assert lines[-1]["summary"]["outcomes"]["lead-zero"] == "skipped"
    assert all(line["stage"] and "step" in line for line in lines[:-1])


def test_a_program_that_does_not_read_the_updates_does_not_stop_the_bench():
    stuck = threading.Event()

    class Unread(io.StringIO):
        def write(self, text: str) -> int:
            stuck.wait()
            return super().write(text)

    out = Unread()
    face = JsonFace(out)
    card = CARDS.get("ignition-check")
    made = Bench(card, PROFILES.get("pump-set-demo"))
    for n in range(MOST_WAITING + 20):
        face(Update(made.begin(float(n)), made.look()))
        face(Update((), made.look()))
    stuck.set()
    face.end(made.progress)
    lines = [json.loads(line) for line in out.getvalue().splitlines()]
    kept = [line for line in lines if line.get("events")]
    assert MOST_WAITING <= len(kept) <= MOST_WAITING + 1  # one more where the thread took one
    assert lines[-1]["left_out"] == MOST_WAITING + 20 - len(kept)
    times = [event["t"] for line in kept for event in line["events"]]
    assert times == sorted(times)
