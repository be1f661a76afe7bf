"""The running list of a store: whoever keeps a head notices a job that was made again."""

import hashlib
import itertools
import json
import shutil
import threading

import pytest

from captures.job.store import JobStore
from captures.job.store_list import LIST_NAME, begin_list, read_list
from captures.job.verify_job import check_job, check_record, verify_store
from captures.record.verify import State
from captures.record.writer import RecordWriter
from meterlink.errors import CannotWriteError
from meterlink.events import Note
from meterlink.reading import Reading
from tests.captures.made import HEADER
from tui.cli import main


def work(store, title, value=1.0):
    with store.create(title) as writer, writer.new_capture(HEADER) as capture:
        capture.append(Reading(0.0, value))
    return writer.job


@pytest.fixture
def listed(store):
    begin_list(store.root)
    return store


def states(store, head=""):
    return [part.state for part in verify_store(store.root, store.jobs(), head)]


def test_no_list_is_kept_unasked(store):
    work(store, "Pump 7")
    assert not (store.root / LIST_NAME).exists()
    assert states(store) == [State.WHOLE]


def test_each_line_names_the_hash_of_the_line_before_it(listed):
    work(listed, "Pump 7")
    work(listed, "Pump 8")
    lines = (listed.root / LIST_NAME).read_bytes().splitlines(keepends=True)
    assert len(lines) == 5
    for before, line in itertools.pairwise(lines):
        assert json.loads(line)["before"] == hashlib.sha256(before).hexdigest()
    assert read_list(listed.root).head == hashlib.sha256(lines[-1]).hexdigest()
    assert set(states(listed)) == {State.WHOLE}
    with pytest.raises(CannotWriteError):
        begin_list(listed.root)


def test_the_list_names_no_job(listed):
    work(listed, "Customer Marlow")
    assert b"arlow" not in (listed.root / LIST_NAME).read_bytes()


def test_a_job_made_again_is_found_by_the_list(listed):
    job = work(listed, "Pump 7")
    head = read_list(listed.root).head
    first = job.log_path.read_bytes().splitlines(keepends=True)[0]
    header = HEADER
    for path in job.captures():
        path.unlink()
    job.log_path.write_bytes(first)
    with listed.resume(job.name) as writer:  # the same first line, another story, sealed again
        for number in range(10):
            writer.log.append(Note(t=0.0, text=f"another story {number}"))
        writer._listed = True
    assert header.started
    assert check_record(job.log_path).state is State.ALTERED
    assert check_job(job).state is State.ALTERED
    assert State.ALTERED in states(listed, head)


def test_a_job_that_was_made_again_from_its_first_line_on_is_missed(listed):
    job = work(listed, "Pump 7")
    shutil.rmtree(job.folder)
    (listed.root / LIST_NAME).rename(listed.root / "aside")
    work(listed, "Pump 7", value=2.0)
    (listed.root / "aside").rename(listed.root / LIST_NAME)
    found = [
        part.sentence
        for part in verify_store(listed.root, listed.jobs())
        if part.state is not State.WHOLE
    ]
    assert len(found) == 2
    assert any("is gone, or its log was made again" in says for says in found)


def test_a_list_that_was_made_again_is_found_by_a_head_that_was_kept(listed, capsys):
    work(listed, "Pump 7")
    head = read_list(listed.root).head
    work(listed, "Pump 8")
    arguments = ["verify", "--jobs", str(listed.root)]
    assert main([*arguments, "--head", head]) == 0
    assert "goes on from the head that was kept" in capsys.readouterr().out
    (listed.root / LIST_NAME).unlink()
    assert main([*arguments, "--head", head]) == 1
    assert main(["jobs", "keep-list", "--jobs", str(listed.root)]) == 0
    capsys.readouterr()
    assert main(arguments) == 0  # without the head nobody can tell
    assert main([*arguments, "--head", head]) == 1
    assert "was made again since that head was kept" in capsys.readouterr().out


@pytest.mark.parametrize("line", [2, 3])
def test_a_changed_line_of_the_list_is_named(listed, line):
    work(listed, "Pump 7")
    work(listed, "Pump 8")
    path = listed.root / LIST_NAME
    lines = path.read_bytes().splitlines(keepends=True)
    lines[line - 1] = lines[line - 1].replace(b'"lines":', b'"lines":1', 1)
    path.write_bytes(b"".join(lines))
    assert read_list(listed.root).bad_line == line + 1
    assert State.ALTERED in states(listed)


def test_a_log_cut_to_a_sound_beginning_is_found_by_the_list(listed):
    job = work(listed, "Pump 7")
    lines = job.log_path.read_bytes().splitlines(keepends=True)
    job.log_path.write_bytes(b"".join(lines[:-2]))
    check = check_record(job.log_path)
    assert check.state is State.CUT
    assert "the store's list says" in check.sentence


def test_a_list_that_was_cut_while_it_was_written_goes_on(listed):
    work(listed, "Pump 7")
    path = listed.root / LIST_NAME
    path.write_bytes(path.read_bytes()[:-20])
    work(listed, "Pump 8")
    found = read_list(listed.root)
    assert (found.bad_line, len(found.entries)) == (None, 3)
    lines = path.read_bytes().splitlines(keepends=True)
    lines[2] = lines[2].replace(b"sealed", b"sealdd")
    path.write_bytes(b"".join(lines))
    assert read_list(listed.root).bad_line == 4


def test_what_could_not_be_put_on_the_list_is_put_there_by_mending(listed, capsys):
    work(listed, "Pump 6")
    path = listed.root / LIST_NAME
    path.rename(path.with_suffix(".away"))
    work(listed, "Pump 7")
    path.with_suffix(".away").rename(path)
    assert main(["verify", "--jobs", str(listed.root)]) == 1
    assert main(["jobs", "mend", "--jobs", str(listed.root)]) == 0
    assert main(["verify", "--jobs", str(listed.root)]) == 0
    capsys.readouterr()


def test_many_benches_write_one_list(listed):
    def bench(number):
        for _ in range(4):
            work(JobStore(listed.root), f"Pump {number}")

    threads = [threading.Thread(target=bench, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found = read_list(listed.root)
    assert (found.bad_line, len(found.entries)) == (None, 32)
    assert set(states(listed)) == {State.WHOLE}


def test_a_capture_by_itself_is_no_matter_of_the_list(listed, tmp_path):
    with RecordWriter.create(tmp_path / "a.jsonl", HEADER) as writer:
        writer.append(Reading(0.0, 1.0))
    assert check_record(tmp_path / "a.jsonl").state is State.WHOLE
