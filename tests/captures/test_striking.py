"""Erasure: a name is struck from a job, and every seal still verifies."""

import hashlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from captures.job.attachments import attach
from captures.job.job import CaptureWriter
from captures.job.store_list import begin_list
from captures.job.striking import strike
from captures.job.verify_job import verify_job, verify_store
from captures.record.reader import read_capture
from captures.record.records import Struck, encode, salted
from captures.record.seals import as_sealed, texts_of
from captures.record.verify import State, verify
from captures.record.writer import RecordWriter
from meterlink.commands import Enter, How
from meterlink.errors import InUseError
from meterlink.events import CommandReceived, Entered, Note
from meterlink.reading import Reading
from tests.captures import from_format
from tests.captures.made import HEADER, SMALL, START, write
from tui.cli import main

NAME = "Marlow & Söhne"


def note_of(text):
    return Note(t=0.5, text=text)


@pytest.fixture
def job(store, tmp_path):
    photo = tmp_path / "plug.txt"
    photo.write_text("worn")
    told = CommandReceived(t=0.1, command=Enter(text="SN-00-471", how=How.TYPED))
    entered = Entered(t=0.1, step="engine", text="SN-00-471", value=None, unit="", how=How.TYPED)
    with store.create(f"Pump of {NAME}") as writer:
        with writer.new_capture(HEADER) as capture:
            for event in (told, entered, note_of(f"brought in by {NAME.upper()}")):
                capture.append(event)
                writer.log.append(event)
            capture.append(Reading(1.0, 0.84))
        attach(writer, photo, note=f"from {NAME}")
    return writer.job


def states(job):
    return {part.file: part.state for part in verify_job(job)}


def all_bytes(folder):
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_a_name_is_struck_and_every_seal_still_holds(store, job):
    (job.folder / "report.html").write_text(NAME)
    before = [line.count(b"\n") for line in (job.log_path.read_bytes(),)]
    assert set(states(job).values()) == {State.WHOLE}
    struck, count = strike(job, "marlow", reason="asked for by the customer", who="Ida")
    assert count == 4  # the title, the note in capture and log, the attachment's note
    found = all_bytes(struck.folder).lower()
    assert b"marlow" not in found
    assert "marlow" not in struck.folder.name
    assert b"sn-00-471" in found
    assert set(states(struck).values()) == {State.WHOLE}
    for path in (struck.log_path, *struck.captures()):
        assert from_format.check(path) == ("whole", None)
    [event] = [e.event for e in struck.entries() if isinstance(e.event, Struck)]
    assert (event.lines, event.reason, event.who) == (4, "asked for by the customer", "Ida")
    assert struck.log_path.read_bytes().count(b"\n") > before[0]


def test_a_serial_number_is_struck_from_what_was_typed_and_entered(job):
    struck, count = strike(job, "SN-00-471")
    assert count == 4
    assert b"SN-00-471" not in all_bytes(struck.folder)
    assert set(states(struck).values()) == {State.WHOLE}
    with read_capture(struck.captures()[0]) as capture:
        entered = next(r for r in capture if isinstance(r, Entered))
    assert entered.text.startswith("struck:")


def test_what_was_struck_cannot_be_tried_against_its_digest(job):
    struck, _ = strike(job, "SN-00-471")
    digest = next(
        json.loads(line)["text"].removeprefix("struck:")
        for line in struck.log_path.read_bytes().splitlines()
        if b'"kind":"entry"' in line
    )
    assert digest != hashlib.sha256(b"SN-00-471").hexdigest()
    struck_lines = [
        line for line in struck.log_path.read_bytes().splitlines() if b"struck:" in line
    ]
    assert not any(b'"salt"' in line for line in struck_lines)


def test_striking_one_text_changes_only_its_own_lines(job):
    path = job.captures()[0]
    before = path.read_bytes().splitlines()
    strike(job, "SN-00-471")
    after = path.read_bytes().splitlines()
    assert len(before) == len(after)
    changed = [a for a, b in zip(before, after, strict=True) if a != b]
    assert all(b"SN-00-471" in line for line in changed)


@pytest.mark.parametrize("change", [b'"salt":"0', b"Marlow"])
def test_a_text_or_salt_that_is_changed_and_not_struck_is_found(job, change):
    data = job.log_path.read_bytes()
    if change == b"Marlow":
        other = data.replace(b"Marlow", b"Harlow", 1)
    else:
        at = data.index(b'"salt":"') + 8
        other = data[:at] + (b"1" if data[at : at + 1] != b"1" else b"2") + data[at + 1 :]
    job.log_path.write_bytes(other)
    assert verify(job.log_path).state is State.ALTERED


def test_another_text_in_a_struck_ones_place_is_found(job):
    struck, _ = strike(job, "SN-00-471")
    data = struck.log_path.read_bytes()
    at = data.index(b'"text":"struck:') + 15
    struck.log_path.write_bytes(data[:at] + b"0000" + data[at + 4 :])
    assert verify(struck.log_path).state is State.ALTERED


def test_a_store_with_a_list_stays_whole(store, job):
    begin_list(store.root)
    with store.resume(job.name):
        pass
    strike(job, "marlow")
    found = [
        part for part in verify_store(store.root, store.jobs()) if part.state is not State.WHOLE
    ]
    assert found == []


def test_a_job_that_is_worked_on_is_not_struck_from(store, job):
    with store.resume(job.name), pytest.raises(InUseError):
        strike(job, "marlow")
    assert b"Marlow" in job.log_path.read_bytes()


def test_the_command_says_what_it_did_and_what_it_cannot_reach(store, job, capsys):
    arguments = ["jobs", "strike", job.name, "--jobs", str(store.root)]
    assert main([*arguments[:3], "nobody", *arguments[3:]]) == 1
    assert main([*arguments[:3], " ", *arguments[3:]]) == 2
    assert main([*arguments[:3], "marlow", *arguments[3:]]) == 0
    said = capsys.readouterr().out
    assert "struck from 4 lines" in said
    assert "not from attached files, from packs" in said


def test_cut_at_any_byte_a_line_with_a_salt_is_gone_on_with(tmp_path):
    path = tmp_path / "a.jsonl"
    with CaptureWriter.create(path, HEADER) as writer:
        writer.append(Reading(0.0, 1.0))
        writer.append(note_of("a name"))
    whole = path.read_bytes()
    start = whole.index(b'{"kind":"note"')
    for end in range(start, whole.index(b"\n", start) + 2):
        path.write_bytes(whole[:end])
        RecordWriter.resume(path, START).close()
        assert verify(path).state is State.WHOLE, end
        assert from_format.check(path)[0] == "whole"


@given(text=st.text(max_size=60), other=st.text(max_size=10))
def test_the_page_and_the_program_seal_a_line_alike(text, other):
    for record in (note_of(text), Entered(t=0.0, step=other, text=text, value=None, unit="")):
        line = salted(encode(record), record)
        assert as_sealed(line) == from_format.as_sealed(line)
        assert as_sealed(as_sealed(line)) == as_sealed(line)
        assert list(texts_of(line)) == [json.loads(line)["text"]]
        struck = json.loads(as_sealed(line))
        assert struck["text"].startswith("struck:")
        assert "salt" not in struck


def test_records_outside_of_jobs_have_no_salt(tmp_path):
    assert b'"salt"' not in write(tmp_path / "a.jsonl", SMALL).read_bytes()
