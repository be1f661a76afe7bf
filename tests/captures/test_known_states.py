"""The list of jobs says whose record is not whole, and reads no job a second time for that."""

import os

import pytest

from captures.job.job import Job
from captures.job.known_states import KnownStates
from captures.record.records import Header
from captures.record.verify import State
from meterlink.events import Note
from meterlink.reading import Reading
from tests.captures.made import START

HEADER = Header(started="2026-11-03T09:14:00.000+00:00", program="test", step="primary")


@pytest.fixture
def jobs(store) -> list[Job]:
    made = []
    for title in ("Pump 1", "Pump 2", "Pump 3"):
        with store.create(title, clock=lambda: START) as job:
            with job.new_capture(HEADER) as capture:
                for n in range(150):
                    capture.append(Reading(n / 10, 0.84, resolution=1e-4))
            job.log.append(Note(t=15.0, text="a line"))
        made.append(job.job)
    return made


def states(store, jobs, folder) -> list[State]:
    with KnownStates(store.root, folder) as known:
        return [known.state_of(job) for job in jobs]


def flip(path, at=1000) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    path.write_bytes(data)


def test_each_state_is_told_and_a_change_is_noticed(store, jobs, tmp_path):
    assert states(store, jobs, tmp_path) == [State.WHOLE] * 3
    [capture] = jobs[0].captures()
    flip(capture)
    [other] = jobs[1].captures()
    other.write_bytes(other.read_bytes()[:4000])
    jobs[2].log_path.write_bytes(jobs[2].log_path.read_bytes().rpartition(b'{"kind":"seal"')[0])
    assert states(store, jobs, tmp_path) == [State.ALTERED, State.CUT, State.OPEN]
    flip(capture)
    assert states(store, jobs, tmp_path)[0] is State.WHOLE


def test_what_is_known_is_not_read_again(store, jobs, tmp_path):
    found = states(store, jobs, tmp_path)
    for job in jobs:  # nothing could be read now
        stat = job.log_path.stat()
        job.log_path.write_bytes(b"x" * stat.st_size)
        os.utime(job.log_path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert states(store, jobs, tmp_path) == found


@pytest.mark.parametrize("spoilt", [b"", b"{", b'{"version":2,"jobs":{}}', b"\xff"])
def test_a_file_that_cannot_be_read_is_made_again(store, jobs, tmp_path, spoilt):
    states(store, jobs, tmp_path)
    [kept] = tmp_path.glob("*.json")
    kept.write_bytes(spoilt)
    assert states(store, jobs, tmp_path) == [State.WHOLE] * 3
    assert len(kept.read_bytes()) > 100


def test_a_folder_that_cannot_be_written_is_no_reason_to_fail(store, jobs, tmp_path):
    (tmp_path / "file").write_text("")
    assert states(store, jobs, tmp_path / "file" / "states") == [State.WHOLE] * 3
