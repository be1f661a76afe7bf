"""A fault of the program itself, put in at many places and met through the real front doors."""

import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from captures.job.job import Job
from captures.job.verify_job import verify_job
from captures.record.verify import State
from drivers.clock import MonotonicClock
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from tests.tui.injected import CUSTOMER
from tests.tui.processes import INJECTED, ROOT, command, home_of, run
from tests.tui.terminals import Terminal

SYNCER = "captures.record.append_file:_to_medium"
"""Runs on a thread that nobody waits for."""


def details_of(said: str) -> Path:
    """Return the file that the one sentence on standard error names."""
    assert said.startswith("meterlink: the program itself has a fault (SlipError)")
    assert said.count("\n") == 1
    found = re.search(r"the details, for those who mend the program, are in (.*\.txt)$", said)
    assert found is not None, said
    return Path(found[1])


def check_details(file: Path, words: str) -> None:
    """Check that the file helps to mend the fault, and tells nothing of a customer."""
    text = file.read_text(encoding="utf-8")
    assert "SlipError: what \N{REPLACEMENT CHARACTER}[31mnobody" in text
    assert "\x1b" not in text
    assert "injected.py" in text
    assert f"command line: meterlink {words}" in text
    assert re.search(r"^python: \d", text, re.MULTILINE)
    assert CUSTOMER not in text


@pytest.mark.parametrize(
    "place",
    [
        "meterlink.bench.bench:Bench.feed@200",
        "captures.job.job:JobLog.append@5",
        "tui.plain.plain_face:PlainFace.__call__@3",
        "drivers.simulated.hands:Hands.notice@4",
        SYNCER,
    ],
)
def test_wherever_it_is_it_ends_in_one_sentence_with_the_record_sealed(tmp_path, place):
    jobs = tmp_path / "jobs"
    done = run(tmp_path, "demo", "--plain", "--jobs", str(jobs), broken=place)
    assert done.returncode == 70, done.stderr
    assert "Traceback" not in done.stdout
    (folder,) = jobs.iterdir()
    file = details_of(done.stderr)
    assert file.parent == folder
    assert f"safe in {folder}" in done.stderr
    check_details(file, "demo --plain")
    assert [part.state for part in verify_job(Job(folder))] == [State.WHOLE] * 2


@pytest.mark.parametrize(
    "place", ["tui.plain.plain_face:read_command", "meterlink.bench.bench:Bench.tell", SYNCER]
)
def test_a_thread_of_the_live_bench_that_fails_ends_the_run(tmp_path, place):
    """Nobody types “quit”: the run would go on for ever."""
    with SimulatedBench(load_scenario("spring-service"), clock=MonotonicClock()) as bench:
        words = ("--plain", "--port", bench.port, "--profile", "pump-set-demo")
        jobs = tmp_path / "jobs"
        done = run(tmp_path, "bench", *words, "--jobs", str(jobs), broken=place, typed="yes\n")
    assert done.returncode == 70, done.stderr
    (folder,) = jobs.iterdir()
    assert details_of(done.stderr).parent == folder
    assert [part.state for part in verify_job(Job(folder))] == [State.WHOLE] * 2
    assert f"wrote {folder}" in done.stdout


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (
            "meterlink.bench.bench:Bench.feed@9",
            ("replay", "sound-armature", "--plain", "--speed", "max"),
        ),
        ("meterlink.bench.bench:Bench.feed@9", ("replay", "sound-armature", "--check")),
        ("tui.practice.plain:PlainPractice.play", ("practice", "--plain", "--seed", "1")),
        ("captures.job.store:list_jobs", ("jobs",)),
        ("meterlink.judging.assess:Assessor.assess", ("judge", "0.84", "--window", "0.7:1.0ohm")),
        ("tui.cli:build_parser", ("--version",)),
        ("drivers.simulated.streaming_meter:StreamingMeter._run", ("simulate", "--tcp")),
    ],
)
def test_without_a_job_the_details_lie_in_the_state_folder_and_are_never_overwritten(
    tmp_path, place, words
):
    for number in (1, 2):
        done = run(tmp_path, *words, broken=place)
        assert done.returncode == 70, done.stderr
        file = details_of(done.stderr)
        assert file.name == f"program-fault-{number}.txt"
        assert "no job was open" in done.stderr
        check_details(file, " ".join(words))
    assert sorted(p.name for p in file.parent.iterdir()) == [
        "program-fault-1.txt",
        "program-fault-2.txt",
    ]


def test_a_practice_that_is_kept_as_a_job_has_its_details_beside_it(tmp_path):
    words = ("practice", "--plain", "--seed", "1", "--jobs", str(tmp_path / "jobs"))
    done = run(tmp_path, *words, broken="tui.practice.plain:PlainPractice.play")
    assert done.returncode == 70, done.stderr
    (folder,) = (tmp_path / "jobs").iterdir()
    assert details_of(done.stderr).parent == folder


def test_where_no_file_can_be_written_the_sentence_says_what_it_was(tmp_path):
    for name in ("state", "Library", ".local"):
        (tmp_path / name).write_text("no folder")
    done = run(tmp_path, "jobs", broken="captures.job.store:list_jobs")
    assert done.returncode == 70
    assert done.stderr.count("\n") == 1
    assert "could be written nowhere" in done.stderr
    assert "foresaw” at injected.py:" in done.stderr
    assert "\x1b" not in done.stderr


def test_a_job_folder_that_takes_no_file_leaves_the_details_in_the_state_folder(tmp_path):
    place = "drivers.simulated.hands:Hands.notice@4"
    jobs = tmp_path / "jobs"
    script = (
        "import sys, tests.tui.injected as i, tui.program_fault as f\n"
        "whole = f._write_new\n"
        f"f._write_new = lambda at, text: None if {str(jobs)!r} in str(at) else whole(at, text)\n"
        f"i.break_({place!r})\n"
        "from tui.cli import main\n"
        f"sys.exit(main(['demo', '--plain', '--jobs', {str(jobs)!r}]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        timeout=60,
        env=home_of(tmp_path),
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 70
    assert jobs not in details_of(done.stderr).parents
    assert f"safe in {jobs}" in done.stderr


needs_terminal = pytest.mark.skipif(shutil.which("tmux") is None, reason="there is no tmux here")


@pytest.fixture
def screen(tmp_path):
    """Start a command with a fault in it in a terminal of its own, which is returned."""
    # A server of its own for each test: one that is just ending takes no new session.
    terminal = Terminal(f"fault-{tmp_path.name}")
    home = " ".join(
        f"{key}={tmp_path / key}" for key in ("XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME")
    )

    def start(place: str, words: str) -> Terminal:
        line = f"{sys.executable} {INJECTED} {place} {words}; echo EXIT $?; stty -a; sleep 60"
        terminal.tmux(
            *("new-session", "-d", "-s", terminal.name, "-x", "300", "-y", "30"),
            f"cd {ROOT} && export {home} && {line}",
        )
        return terminal

    yield start
    terminal.tmux("kill-server")


def check_ended(
    terminal: Terminal, code: int = 70, says: str = "the program itself has a fault (SlipError)"
) -> None:
    """Check that the sentence stands there, and nothing else, and the terminal is as it was."""
    shown = terminal.wait_for(f"EXIT {code}")
    assert says in shown
    assert "Traceback" not in shown
    settings = terminal.wait_for("icanon").split()
    assert {"icanon", "echo", "isig"} <= {word.strip(";") for word in settings}


@needs_terminal
@pytest.mark.parametrize(
    "place",
    [
        f"{SYNCER}@3",
        "meterlink.bench.bench:Bench.feed@60",
        "tui.screen.body:BenchBody.show@8",
        "meterlink.bench.bench:Bench.tell",
    ],
    ids=["a thread of its own", "the reader", "the painter", "the teller"],
)
def test_on_the_screen_it_ends_so_too_and_the_terminal_is_as_it_was(screen, tmp_path, place):
    terminal = screen(place, f"demo --jobs {tmp_path / 'jobs'}")
    if place.endswith("tell"):
        terminal.wait_for("Ignition off, plug lead off")
        terminal.tmux("send-keys", "-t", terminal.name, "Space")
    check_ended(terminal)
    (folder,) = (tmp_path / "jobs").iterdir()
    assert (folder / "program-fault-1.txt").exists()
    assert [part.state for part in verify_job(Job(folder))] == [State.WHOLE] * 2


@needs_terminal
@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("meterlink.bench.bench:Bench.feed@20", "replay sound-armature"),
        ("tui.practice.screen:PracticeApp.compose", "practice --seed 1"),
        ("tui.screen.choosing:find_meters", "bench"),
        ("tui.screen.choosing:ChoosePage.compose", "bench"),
    ],
)
def test_on_every_other_screen_it_ends_so_too(screen, tmp_path, place, words):
    check_ended(screen(place, words))
    assert list(tmp_path.glob("XDG_STATE_HOME/meterlink/program-fault-1.txt"))


ENDING = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]


@pytest.mark.skipif(sys.platform == "win32", reason="there, nothing but force ends a process")
@pytest.mark.parametrize("name", ENDING)
def test_a_signal_seals_and_says_what_is_safe(tmp_path, name):
    words = command("demo", "--plain", "--jobs", str(tmp_path / "jobs"))
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen(words, env=home_of(tmp_path), cwd=ROOT, **pipes) as program:
        while "aution" not in program.stdout.readline():  # it is at work, and so is the record
            assert program.poll() is None
        program.send_signal(getattr(signal, name))
        _, said = program.communicate(timeout=60)
    (folder,) = (tmp_path / "jobs").iterdir()
    # A program that a signal ended has 128 and its number: POSIX shells, “Exit Status”.
    assert program.returncode == 128 + getattr(signal, name)
    assert (
        said == f"meterlink: ended by {name}; everything recorded until then is safe in {folder}\n"
    )
    assert [part.state for part in verify_job(Job(folder))] == [State.WHOLE] * 2


@needs_terminal
def test_a_signal_ends_the_screen_so_too_and_the_terminal_is_as_it_was(screen, tmp_path):
    terminal = screen("tui.cli:main@9", f"demo --jobs {tmp_path / 'jobs'}")
    terminal.wait_for("Ignition off, plug lead off")
    for process in psutil.process_iter(["cmdline"]):
        if {str(INJECTED), str(tmp_path / "jobs")} <= set(process.info["cmdline"] or []):
            process.terminate()
    (folder,) = (tmp_path / "jobs").iterdir()
    safe = f"ended by SIGTERM; everything recorded until then is safe in {folder}"
    check_ended(terminal, 128 + signal.SIGTERM, safe)
    assert [part.state for part in verify_job(Job(folder))] == [State.WHOLE] * 2
