"""Which job ``--job`` and ``--new`` mean: nothing is gone on with, or begun, by mistake."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from captures.job.job import Job
from captures.job.store import JobStore
from drivers.clock import MonotonicClock
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.errors import UsageError
from meterlink.events import CardEnded, StepReopened
from tests.tui.processes import run
from tui.session.setup import called, check_open, settings_of
from tui.settings import CARDS, PROFILES


@pytest.fixture
def simulated() -> Iterator[SimulatedBench]:
    with SimulatedBench(load_scenario("spring-service"), clock=MonotonicClock()) as bench:
        yield bench


@pytest.fixture
def store(tmp_path: Path) -> JobStore:
    return JobStore(tmp_path / "jobs")


def make(store: JobStore, title: str, *, ended: bool = False, signed: bool = False) -> str:
    """Make a job of that title; return its folder's name."""
    card, profile = CARDS.get("ignition-check"), PROFILES.get("pump-set-demo")
    with store.create(title, settings=settings_of(card, profile)) as job:
        if ended:
            job.log.append(CardEnded(t=1.0, card=card.id, signed_off=signed))
        return job.folder.name


def bench(home: Path, port: str, *words: str, typed: str = "quit\n"):
    """Run the command on the simulated meter."""
    jobs = ("--jobs", str(home / "jobs"))
    return run(home, "bench", "--plain", "--port", port, *jobs, *words, typed=typed)


def folders(home: Path) -> list[str]:
    jobs = home / "jobs"
    return sorted(p.name for p in jobs.iterdir()) if jobs.exists() else []


@pytest.mark.parametrize("title", ["Pump 3", "pump [bold]3[/]", "Pumpe\N{RIGHT-TO-LEFT OVERRIDE}3"])
def test_a_job_is_called_by_folder_or_by_exact_title(store, title):
    name = make(store, title)
    make(store, "something else")
    for said in (name, title):
        found = called(store, said)
        assert found is not None
        assert found.name == name
    assert called(store, "Pump 33, another one") is None


@pytest.mark.parametrize("said", ["Pump", "pump 3", "PUMP 3, SPRING", "pump-3", "p"])
def test_a_mere_beginning_is_offered_with_both_commands(store, said):
    name = make(store, "Pump 3, spring")
    with pytest.raises(UsageError) as refused:
        called(store, said)
    assert f'--job "{name}"' in str(refused.value)
    assert f'--new "{said}"' in str(refused.value)


def test_several_jobs_of_one_title_are_listed(store):
    names = [make(store, "Pump 3") for _ in range(7)]
    with pytest.raises(UsageError) as refused:
        called(store, "Pump 3")
    assert "7 jobs" in str(refused.value)
    assert "and 2 more" in str(refused.value)
    assert sum(name in str(refused.value) for name in names) >= 5
    assert called(store, names[-1]) is not None


def test_jobs_that_cannot_be_read_are_no_obstacle(store):
    name = make(store, "Pump 3")
    damaged = store.root / "2026-11-03-pump-3"
    damaged.mkdir()
    (damaged / "log.jsonl").write_text("rubbish")
    found = called(store, "Pump 3")
    assert found is not None
    assert found.name == name


@pytest.mark.parametrize(("signed", "mend"), [(False, "--redo STEP"), (True, "stays as it is")])
def test_a_finished_job_is_not_opened_silently(store, signed, mend):
    job = store.job(make(store, "Pump 3", ended=True, signed=signed))
    with pytest.raises(UsageError, match=mend):
        check_open(job)
    if signed:
        with pytest.raises(UsageError, match=mend):
            check_open(job, redo=True)
    else:
        check_open(job, redo=True)


def test_a_new_job_is_said_to_be_new_and_an_old_one_to_be_gone_on_with(simulated, tmp_path):
    begun = bench(tmp_path, simulated.port, "--profile", "pump-set-demo", "--job", "Pump 3")
    assert begun.returncode == 0, begun.stderr
    assert begun.stdout.startswith("new job “Pump 3” begun in ")
    (name,) = folders(tmp_path)
    again = bench(tmp_path, simulated.port, "--job", "Pump 3")
    assert again.returncode == 0, again.stderr
    assert again.stdout.startswith("going on with the job “Pump 3” in ")
    assert folders(tmp_path) == [name]
    another = bench(tmp_path, simulated.port, "--new", "Pump 3")
    assert another.stdout.startswith("new job “Pump 3” begun in ")
    assert len(folders(tmp_path)) == 2
    both = bench(tmp_path, simulated.port, "--job", "Pump 3")
    assert both.returncode == 2
    assert all(name in both.stderr for name in folders(tmp_path))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--job", "Pump 3", "--card", "no-spark"), "leave --card out"),
        (("--job", "Pump 3", "--profile", "{other}"), "leave --profile out"),
        (("--job", "Pump"), '--new "Pump"'),
        (("--job", "Pump 3", "--redo", "nope"), "it has cautions, ambient"),
        (("--job", "Pump 4", "--redo", "primary"), "a new job has no step"),
    ],
)
def test_what_is_refused_makes_no_job_and_touches_no_meter(store, tmp_path, words, said):
    make(store, "Pump 3")
    other = tmp_path / "other.toml"
    whole = PROFILES.data("pump-set-demo").decode()
    other.write_text(whole.replace('id = "pump-set-demo"', 'id = "other"'))
    before = folders(tmp_path)
    words = tuple(word.format(other=other) for word in words)
    done = bench(tmp_path, "/dev/no-such-port", *words)
    assert done.returncode == 2, done.stderr
    assert done.stderr.count("\n") == 1
    assert said in done.stderr
    assert folders(tmp_path) == before


def test_its_own_card_and_profile_may_be_named(simulated, store, tmp_path):
    make(store, "Pump 3")
    words = ("--job", "Pump 3", "--card", "ignition-check", "--profile", "pump-set-demo")
    done = bench(tmp_path, simulated.port, *words)
    assert done.returncode == 0, done.stderr


def test_a_step_of_a_finished_job_is_done_again_when_it_is_asked_for(simulated, tmp_path):
    home = tmp_path
    typed = "\n19 °C\n" + "skip no time\n" * 4
    words = ("--profile", "pump-set-demo", "--job", "Pump 3")
    assert bench(home, simulated.port, *words, typed=typed).returncode == 0
    (name,) = folders(home)
    job = Job(home / "jobs" / name)
    assert any(isinstance(e.event, CardEnded) for e in job.entries())
    closed = bench(home, simulated.port, "--job", name)
    assert closed.returncode == 2
    assert "--redo STEP" in closed.stderr
    again = bench(home, simulated.port, "--job", name, "--redo", "primary", typed="quit\n")
    assert again.returncode == 0, again.stderr
    reopened = [e.event.step for e in job.entries() if isinstance(e.event, StepReopened)]
    assert reopened == ["primary"]
    assert "Touch" in again.stdout or "primary" in again.stdout.lower()


def test_an_altered_job_is_gone_on_with_only_where_that_is_asked_for(simulated, store, tmp_path):
    name = make(store, "Pump 3")
    log = Job(tmp_path / "jobs" / name).log_path
    log.write_bytes(log.read_bytes().replace(b'"title":"', b'"titlf":"', 1))
    before = log.read_bytes()
    refused = bench(tmp_path, simulated.port, "--job", name)
    assert refused.returncode == 4
    assert "altered" in refused.stderr
    assert "--damaged-too" in refused.stderr
    assert log.read_bytes() == before
    again = bench(tmp_path, simulated.port, "--job", name, "--damaged-too")
    assert again.returncode == 0, again.stderr
    assert "altered" in again.stdout.splitlines()[0]
    assert log.read_bytes().startswith(before)


def test_a_job_that_was_not_closed_is_said_to_be_open_and_gone_on_with(simulated, store, tmp_path):
    name = make(store, "Pump 3")
    log = Job(tmp_path / "jobs" / name).log_path
    log.write_bytes(log.read_bytes().rpartition(b'{"kind":"seal"')[0])
    again = bench(tmp_path, simulated.port, "--job", name)
    assert again.returncode == 0, again.stderr
    assert "open" in again.stdout.splitlines()[0]
