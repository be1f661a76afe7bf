"""A job's folder: named from any title, one worker at a time, continued after a crash."""

import errno
import os
import sys
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from captures.job.job import LogReader
from captures.job.verify_job import verify_job
from captures.record.files import read_rfc3339, rfc3339, safe_name
from captures.record.reader import read_capture
from captures.record.records import CaptureBegan, CaptureEnded
from captures.record.verify import State, verify
from meterlink.errors import CannotWriteError, InUseError, UnreadableError
from meterlink.events import CardBegan, Note
from meterlink.reading import Reading
from tests.captures.made import HEADER, START

HOSTILE_TITLES = [
    "../../etc/passwd",
    "..",
    ".",
    "",
    "   ",
    "CON",
    "nul.txt",
    "C:\\Windows\\x",
    "/",
    "a\x00b",
    "a\nb\x1b[31m",
    "<script>alert(1)</script>",
    "\u202egpj.exe",
    "é" * 300,
    "насос № 7",
    "ポンプ 7 号",
    "\U0001f525" * 10,
    "x\ud800y",
    "a" * 5000,
    "trailing. . .",
    "Ç vs C\u0327",
]


def clock():
    """A wall clock that goes on a second each time it is looked at."""
    ticks = count()
    return lambda: START + timedelta(seconds=next(ticks))


@pytest.mark.parametrize("title", HOSTILE_TITLES)
def test_any_title_makes_a_folder_that_stays_where_it_belongs(store, title):
    with store.create(title, clock=clock()) as job:
        assert job.folder.resolve().parent == store.root.resolve()
        assert job.folder.name.startswith("2026-11-03-")
    assert [found.name for found in store.jobs()] == [job.folder.name]
    assert job.job.header().title == title.encode("utf-8", "replace").decode()


@given(st.text(max_size=200))
def test_a_safe_name_is_one_plain_part_of_a_path_on_every_system(title):
    name = safe_name(title, "job")
    for pure in (PurePosixPath, PureWindowsPath):
        assert pure(name).parts == (name,)
    assert 0 < len(name.encode()) <= 80
    assert name.strip(" .-") == name
    assert not set(name) & set('<>:"/\\|?*')
    assert safe_name(name, "job") == name


def test_jobs_of_one_name_and_day_do_not_meet(store):
    names = []
    for _ in range(3):
        with store.create("Pump 7", clock=clock()) as job:
            names.append(job.folder.name)
    assert names == ["2026-11-03-pump-7", "2026-11-03-pump-7-2", "2026-11-03-pump-7-3"]
    assert sorted(found.name for found in store.jobs()) == sorted(names)


def test_the_log_says_what_happened_and_when(store):
    with store.create("Pump 7", settings={"seed": 3}, clock=clock()) as job:
        job.log.append(CardBegan(t=0.0, card="ignition", profile="pump"))
        with job.new_capture(HEADER) as capture:
            capture.append(Reading(0.5, 0.842))
            job.log.append(Note(t=0.5, text='"at":"not here"'))
        job.log.append(Note(t=1.0, text="done"))
    assert job.job.header().settings == {"seed": 3}
    entries = list(job.job.entries())
    assert [read_rfc3339(entry.at) - START for entry in entries] == [
        timedelta(seconds=s) for s in range(2, 7)
    ]
    assert [type(entry.event) for entry in entries] == [
        CardBegan,
        CaptureBegan,
        Note,
        CaptureEnded,
        Note,
    ]
    [path] = job.job.captures()
    ended = entries[3].event
    assert ended.file == path.relative_to(job.folder).as_posix() == "captures/0001-primary.jsonl"
    assert ended.sha256 == verify(path).sha256
    assert verify(job.job.log_path).state is State.WHOLE


def test_only_one_program_works_on_a_job_and_anyone_may_look(store):
    with store.create("Pump 7") as job:
        job.log.append(Note(t=0.0, text="one"))
        with pytest.raises(InUseError):
            store.resume(job.folder.name)
        assert [entry.event for entry in job.job.entries()] == [Note(t=0.0, text="one")]
    with store.resume(job.folder.name) as again:
        again.log.append(Note(t=0.0, text="two"))
    assert [entry.event.text for entry in job.job.entries()] == ["one", "two"]


def test_what_a_crash_left_open_is_under_a_seal_once_the_job_goes_on(store):
    job = store.create("Pump 7")
    capture = job.new_capture(HEADER)
    capture.append(Reading(0.5, 1.0))
    for writer in (capture, job.log):
        writer._file.close()
    assert {part.state for part in verify_job(job.job)} == {State.OPEN}
    store.resume(job.folder.name).close()
    assert {part.state for part in verify_job(job.job)} == {State.WHOLE}
    with read_capture(capture.path) as again:
        [reading, gap] = list(again)
    assert (reading.t, gap.t) == (0.5, 0.5)
    assert gap.until > gap.t


def test_numbers_go_on_beyond_four_digits(store):
    with store.create("Pump 7") as job:
        for number in (9_999, 10_000, 10_001):
            path = job.free_path("captures", "x", ".jsonl")
            if number == 9_999:
                path = path.with_name("9999-x.jsonl")
            path.write_text("")
        assert [p.name for p in job.job.captures()] == [
            "9999-x.jsonl",
            "10000-x.jsonl",
            "10001-x.jsonl",
        ]


def test_a_job_that_cannot_be_begun_leaves_no_folder(store, monkeypatch):
    def full(fd):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("captures.record.append_file.os.fsync", full)
    with pytest.raises(CannotWriteError, match="No space"):
        store.create("Pump 7")
    assert list(store.root.iterdir()) == []


def test_captures_are_numbered_in_the_order_they_were_begun(store):
    with store.create("Pump 7") as job:
        for _ in range(3):
            job.new_capture(HEADER).close()
    assert [path.name[:4] for path in job.job.captures()] == ["0001", "0002", "0003"]


def test_a_job_is_found_by_name_and_by_path_and_a_missing_one_is_said(store):
    with store.create("Pump 7", clock=clock()) as job:
        pass
    assert store.job("2026-11-03-pump-7").folder == job.folder
    assert store.job(str(job.folder)).folder == job.folder
    with pytest.raises(UnreadableError, match="no job"):
        store.job("2026-11-03-pump-8")


def test_a_store_without_a_job_is_empty_and_makes_no_folder(store):
    assert list(store.jobs()) == []
    assert not store.root.exists()


def test_a_jobs_folder_that_cannot_be_made_is_said_with_the_mend(store):
    store.root.write_text("a file lies where the folder should be")
    with pytest.raises(CannotWriteError, match="--jobs"):
        store.create("Pump 7")


@pytest.mark.skipif(sys.platform == "win32" or os.getuid() == 0, reason="root may write anywhere")
def test_a_jobs_folder_that_may_not_be_written_is_said_with_the_mend(store):
    store.root.mkdir(mode=0o500)
    with pytest.raises(CannotWriteError, match="--jobs"):
        store.create("Pump 7")


def test_a_log_read_as_a_capture_is_refused(store):
    with store.create("Pump 7") as job:
        job.new_capture(HEADER).close()
    with pytest.raises(UnreadableError, match="no job log"):
        LogReader(job.job.captures()[0])


@pytest.mark.parametrize("text", ["", "yesterday", "2026-11-03", "2026-11-03T09:14:00", "9" * 99])
def test_a_time_without_offset_is_no_time(text):
    with pytest.raises(UnreadableError):
        read_rfc3339(text)


def test_times_go_there_and_back():
    when = datetime(2026, 11, 3, 9, 14, 0, 125_000, tzinfo=UTC)
    assert rfc3339(when) == "2026-11-03T09:14:00.125+00:00"
    assert read_rfc3339(rfc3339(when)) == when


def test_a_job_that_is_closed_closes_its_captures_first(store):
    with store.create("Pump 7") as job:
        capture = job.new_capture(HEADER)
        capture.append(Reading(0.5, 1.0))
    assert verify(capture.path).state is State.WHOLE
    assert isinstance([entry.event for entry in job.job.entries()][-1], CaptureEnded)
    job.close()
