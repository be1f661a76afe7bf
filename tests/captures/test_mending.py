"""What crashes leave behind is closed, brought into the log, or named; nothing is deleted."""

import random
import shutil
import signal
import subprocess
import sys
import time
from datetime import datetime

import pytest

from captures.job.job import TAKEN_IN, Job
from captures.job.mend import SET_ASIDE, mend_job, mend_store
from captures.job.store import JobStore
from captures.job.verify_job import check_job, verify_job
from captures.record.reader import read_capture
from captures.record.verify import State
from captures.record.writer import STOPPED
from meterlink.events import Contact, Gap, Note
from meterlink.reading import Reading
from tests.captures.made import HEADER, many
from tests.tui.demo_job import copy_demo
from tui.cli import main

POSIX_ONLY = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals")


@pytest.fixture
def job(store):
    with store.create("Pump 7") as writer:
        for number in range(2):
            with writer.new_capture(HEADER) as capture:
                capture.append(Reading(0.0, 1.0))
                for t in range(4):
                    event = Contact(t=float(t + number))
                    capture.append(event)
                    writer.log.append(event)
    return writer.job


def states(job):
    return {part.file: part.state for part in verify_job(job)}


def files(folder):
    return {path.relative_to(folder) for path in folder.rglob("*") if path.is_file()}


def lines(path):
    return path.read_bytes().splitlines(keepends=True)


def test_a_sound_store_has_nothing_to_mend(store, job):
    assert list(mend_store(store)) == []
    assert list(mend_store(JobStore(store.root / "none"))) == []


def test_a_capture_that_was_begun_and_not_logged_is_closed_and_logged_on_resume(store, job):
    log = lines(job.log_path)
    cut = next(n for n, line in enumerate(log) if b"0002-primary" in line)
    job.log_path.write_bytes(b"".join(log[:cut]))
    second = job.captures()[1]
    second.write_bytes(lines(second)[0])  # killed between making it and saying so
    assert states(job)["captures/0002-primary.jsonl"] is State.OPEN
    store.resume(job.name).close()
    assert set(states(job).values()) == {State.WHOLE}


def test_a_log_that_lost_its_end_gets_it_back_from_the_captures(store, job):
    whole = [entry.event for entry in job.entries() if isinstance(entry.event, Contact)]
    log = lines(job.log_path)
    cut = next(n for n, line in enumerate(log) if b"0002-primary" in line)
    job.log_path.write_bytes(b"".join(log[: cut + 2]))
    assert check_job(job).parts[0].state is State.CUT
    found = list(mend_job(job))
    assert found
    assert all(finding.mended for finding in found)
    assert set(states(job).values()) == {State.WHOLE}
    events = [entry.event for entry in job.entries()]
    assert [event for event in events if isinstance(event, Contact)] == whole
    [note] = [event for event in events if isinstance(event, Note)]
    assert note.text.endswith(TAKEN_IN)
    assert list(mend_job(job)) == []


def test_taking_in_what_the_log_lost_can_itself_be_interrupted(store, job):
    whole = [entry.event for entry in job.entries() if isinstance(entry.event, Contact)]
    log = lines(job.log_path)
    cut = next(n for n, line in enumerate(log) if b"0002-primary" in line)
    job.log_path.write_bytes(b"".join(log[: cut + 2]))
    list(mend_job(job))
    mended = lines(job.log_path)
    for end in range(cut + 2, len(mended)):
        job.log_path.write_bytes(b"".join(mended[:end]))
        list(mend_job(job))
        events = [entry.event for entry in job.entries()]
        assert [event for event in events if isinstance(event, Contact)] == whole, end
        assert set(states(job).values()) == {State.WHOLE}


def test_a_folder_without_a_log_gets_one_from_its_captures(store, job):
    contacts = [entry for entry in job.entries() if isinstance(entry.event, Contact)]
    job.log_path.unlink()
    found = list(mend_store(store))
    assert "had no log" in found[0].says
    assert set(states(job).values()) == {State.WHOLE}
    assert [e.event for e in job.entries() if isinstance(e.event, Contact)] == [
        e.event for e in contacts
    ]


def test_a_draft_of_a_log_becomes_the_log(store, job):
    first = lines(job.log_path)[0]
    for path in job.captures():
        path.unlink()
    job.log_path.unlink()
    (job.folder / ".log.jsonl.123").write_bytes(first)
    assert all(finding.mended for finding in mend_store(store))
    assert job.header().title == "Pump 7"


def test_half_made_folders_are_taken_in_or_set_aside_and_nothing_is_deleted(store, job):
    begun, unpacking = store.root / ".begun-1", store.root / ".unpacking-2"
    begun.mkdir()
    unpacking.mkdir()
    (begun / "log.jsonl").write_bytes(lines(job.log_path)[0])
    (unpacking / "log.jsonl").write_bytes(b"half")
    empty = store.root / "2026-11-03-empty"
    empty.mkdir()
    before = len(files(store.root))
    found = {finding.job: finding for finding in mend_store(store)}
    assert len(files(store.root)) == before
    assert not found["2026-11-03-empty"].mended
    assert empty.is_dir()
    assert (store.root / SET_ASIDE / "unpacking-2" / "log.jsonl").read_bytes() == b"half"
    assert [check_job(job).state for job in store.jobs()] == [State.WHOLE] * 2


def test_an_altered_record_is_named_and_stays_as_it_is(store, job):
    [first, _] = job.captures()
    first.write_bytes(first.read_bytes().replace(b'"value":1', b'"value":2'))
    before = {path: path.read_bytes() for path in job.folder.rglob("*.jsonl")}
    [finding] = mend_job(job)
    assert not finding.mended
    assert "altered" in finding.says
    assert {path: path.read_bytes() for path in job.folder.rglob("*.jsonl")} == before


def test_an_altered_capture_that_was_left_open_is_not_sealed_again(store, job):
    second = job.captures()[1]
    second.write_bytes(second.read_bytes().replace(b'"value":1', b'"value":2'))
    log = lines(job.log_path)
    job.log_path.write_bytes(b"".join(log[:-3]))
    before = second.read_bytes()
    list(mend_job(job))
    assert second.read_bytes() == before
    assert states(job)["captures/0002-primary.jsonl"] is State.ALTERED


def test_an_attachment_that_was_copied_and_not_logged_is_brought_into_the_log(store, job):
    folder = job.folder / "attachments"
    folder.mkdir()
    (folder / "0001-plug.txt").write_text("worn")
    assert states(job)["attachments/0001-plug.txt"] is State.OPEN
    assert all(finding.mended for finding in mend_job(job))
    assert set(states(job).values()) == {State.WHOLE}


def test_a_job_that_is_worked_on_is_left_alone(store, job):
    with store.resume(job.name) as writer:
        writer.log.append(Note(t=0.0, text="now"))
        [finding] = mend_job(job)
        assert "being worked on" in finding.says
    assert list(mend_job(job)) == []


def test_the_command_says_what_it_found_and_did(tmp_path, capsys):
    root, name = copy_demo(tmp_path / "jobs")
    log = root / name / "log.jsonl"
    log.write_bytes(b"".join(lines(log)[:-1]))
    assert main(["jobs", "mend", "--jobs", str(root)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith(f"{name}: log.jsonl: open")
    assert said[-1] == "1 finding, 0 of them beyond mending here"
    [capture] = (root / name / "captures").iterdir()
    capture.write_bytes(capture.read_bytes()[:5000])
    assert main(["jobs", "mend", name, "--jobs", str(root), "--json"]) == 1
    assert '"mended":false' in capsys.readouterr().out
    assert main(["jobs", "mend", "none-such", "--jobs", str(root)]) == 4


WORKER = """
import sys
from pathlib import Path
from captures.job.store import JobStore
from meterlink.events import Contact
from meterlink.reading import Reading
from tests.captures.made import HEADER
store = JobStore(Path(sys.argv[1]))
print("up", flush=True)
for number in range(1000):
    with store.create(f"pump {number}") as job:
        for _ in range(3):
            with job.new_capture(HEADER) as capture:
                for t in range(30):
                    capture.append(Reading(t / 10, 1.0))
                    if t % 5 == 0:
                        event = Contact(t=t / 10)
                        capture.append(event)
                        job.log.append(event)
                        print(job.job.name, capture.path.name, t, flush=True)
"""


@POSIX_ONLY
def test_killed_at_any_moment_a_store_is_whole_again_once_it_is_mended(tmp_path, kills):
    rng = random.Random(7)
    for number in range(max(4, kills // 4)):
        root = tmp_path / f"jobs-{number}"
        command = [sys.executable, "-c", WORKER, str(root)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as worker:
            assert worker.stdout is not None
            worker.stdout.readline()
            time.sleep(rng.random() * 0.4)
            worker.send_signal(signal.SIGKILL)
            acknowledged = [line.split() for line in worker.stdout if line.endswith("\n")]
        store = JobStore(root)
        found = list(mend_store(store))
        assert all(finding.mended for finding in found), found
        for job in store.jobs():
            assert check_job(job).state is State.WHOLE
        logged = {
            (job.name, f"{entry.event.t:.1f}")
            for job in store.jobs()
            for entry in job.entries()
            if isinstance(entry.event, Contact)
        }
        for name, capture, t in (line for line in acknowledged if len(line) == 3):
            assert (name, f"{int(t) / 10:.1f}") in logged
            with read_capture(root / name / "captures" / capture) as reader:
                assert Contact(t=int(t) / 10) in list(reader)
        shutil.rmtree(root, ignore_errors=True)


def test_a_crash_with_the_clock_set_back_says_that_nobody_knows_for_how_long(store, tmp_path):
    with store.create("Pump 7") as writer, writer.new_capture(HEADER) as capture:
        for record in many(40):
            capture.append(record)
    [path] = writer.job.captures()
    path.write_bytes(b"".join(lines(path)[:30]))
    log = writer.job.log_path
    log.write_bytes(b"".join(lines(log)[:2]))
    old = HEADER.started.replace("2026", "2020")
    store.resume(writer.job.name, clock=lambda: datetime.fromisoformat(old)).close()
    with read_capture(path) as reader:
        [gap] = [r for r in reader if isinstance(r, Gap) and r.why == STOPPED]
    assert gap.until is None
    assert Job(writer.job.folder).captures() == [path]
