"""Files of every version that was ever written are read for good.

They lie in ``frozen/``, a folder for each version, and are never made again: each was written by
the program of that version.
"""

import json
import shutil
from pathlib import Path

import msgspec
import pytest

from captures.exchange.packs import unpack
from captures.job.card_progress import JobSettings, card_progress
from captures.job.store import JobStore
from captures.job.verify_job import check_job, verify_store
from captures.record.reader import read_capture
from captures.record.records import Struck
from captures.record.signature import read_trusted
from captures.record.verify import State, verify
from captures.training.notes import TraineeAnswer
from captures.training.trainees import TraineeStore
from meterlink.declared import decode
from meterlink.errors import UnreadableError
from meterlink.events import CardEnded, Gap, Judged, Note
from meterlink.reading import Reading
from tui.cli import main
from tui.settings import CARDS, Configuration

FROZEN = Path(__file__).parent / "frozen"
VERSIONS = sorted(path.parent.name for path in FROZEN.glob("*/settings.toml"))
"""Those with files of every kind; 1.1 has of the kinds that it added to."""


@pytest.fixture(params=VERSIONS)
def frozen(request):
    return FROZEN / request.param


@pytest.fixture
def jobs(frozen, tmp_path):
    shutil.copytree(frozen / "jobs", tmp_path / "jobs")
    return JobStore(tmp_path / "jobs")


def test_there_is_the_first_version():
    assert "1.0" in VERSIONS


def test_captures_are_read_and_their_seals_hold(frozen):
    states = {path.stem: verify(path).state for path in frozen.glob("capture-*.jsonl")}
    assert states == {
        "capture-whole": State.WHOLE,
        "capture-open": State.OPEN,
        "capture-continued": State.WHOLE,
    }
    with read_capture(frozen / "capture-continued.jsonl") as reader:
        records = list(reader)
        assert (reader.damaged, len(records)) == (1, 22)
    assert [record for record in records if isinstance(record, Gap)] != []
    assert [r.overload for r in records if isinstance(r, Reading)][-2:] == [False, True]


def test_a_job_is_whole_and_comes_to_the_same_outcomes(jobs, capsys):
    [job] = jobs.jobs()
    assert check_job(job).state is State.WHOLE
    [progress] = card_progress(job, JobSettings.read(job), CARDS.get)
    assert progress.ended
    events = [entry.event for entry in job.entries()]
    assert sum(isinstance(event, Judged) for event in events) == 5
    assert any(isinstance(event, CardEnded) for event in events)
    for words in (["finding", job.name], ["report", job.name], ["jobs", "show", job.name]):
        assert main([*words, "--jobs", str(jobs.root)]) == 0
    assert "All" in (job.folder / "report.html").read_text("utf-8")
    capsys.readouterr()


def test_a_job_is_gone_on_with_and_stays_whole(jobs):
    [job] = jobs.jobs()
    before = job.log_path.read_bytes()
    with jobs.resume(job.name) as writer:
        assert writer.job.name == job.name
    assert job.log_path.read_bytes()[: len(before)] == before
    assert check_job(job).state is State.WHOLE


def test_a_pack_is_taken_in(frozen, tmp_path):
    [pack] = frozen.glob("*.job.zip")
    assert check_job(unpack(pack, JobStore(tmp_path / "to"))).state is State.WHOLE


@pytest.mark.parametrize("kind", ["cards", "profiles"])
def test_cards_and_profiles_are_read(frozen, kind, capsys):
    files = sorted((frozen / kind).glob("*.toml"))
    assert files
    for file in files:
        assert main([kind, "check", str(file)]) == 0
    capsys.readouterr()


def test_settings_are_read(frozen):
    known = decode((frozen / "settings.toml").read_bytes(), Configuration, "settings.toml")
    assert (known.who, known.meter.port, known.screen.theme) == (
        "Ida",
        "/dev/ttyUSB0",
        "bench-light",
    )


def test_trainees_and_answers_are_read(frozen, tmp_path):
    shutil.copytree(frozen / "trainees", tmp_path / "trainees")
    results = TraineeStore(tmp_path / "trainees").results("Ida")
    assert (len(results.practised), results.damage) == (1, ())
    answer = msgspec.json.decode((frozen / "answers.jsonl").read_bytes(), type=TraineeAnswer)
    assert (answer.who, answer.said, answer.verdict.value) == ("Ida", "below", "in-window")


def test_what_1_1_added_is_read_and_holds(tmp_path):
    store = JobStore(tmp_path / "jobs")
    shutil.copytree(FROZEN / "1.1" / "jobs", store.root)
    head = (FROZEN / "1.1" / "head.txt").read_text().strip()
    found = list(verify_store(store.root, store.jobs(), head))
    assert [part.state for part in found] == [State.WHOLE] * 4, found
    trusted = read_trusted(FROZEN / "1.1" / "trusted.toml")
    for job in store.jobs():
        parts = check_job(job).parts
        assert all(trusted[part.key] == "north shed" and part.signed_well for part in parts[:2])
    struck, kept = sorted(store.jobs(), key=lambda job: job.header().title, reverse=True)
    assert kept.header().title == "Portable pump 3, boathouse"
    assert struck.header().title.startswith("struck:")
    notes = [e.event.text for e in kept.entries() if isinstance(e.event, Note)]
    assert notes == ["belongs to the family Sandvik"]
    everything = b"".join(path.read_bytes() for path in (struck.log_path, *struck.captures()))
    assert b"Sandvik" not in everything
    assert sum(isinstance(e.event, Struck) for e in struck.entries()) == 2
    assert any(isinstance(e.event, Gap) and e.event.until is None for e in kept.entries())


def _as_version(path: Path, version: str, tmp_path: Path) -> Path:
    header, *rest = path.read_bytes().splitlines(keepends=True)
    fields = json.loads(header) | {"version": version, "to come": [1]}
    other = tmp_path / f"v{version}.jsonl"
    other.write_bytes(b"".join([msgspec.json.encode(fields) + b"\n", *rest]))
    return other


def test_a_newer_minor_version_is_read_and_a_newer_major_one_refused(frozen, tmp_path):
    whole = frozen / "capture-whole.jsonl"
    with read_capture(_as_version(whole, "1.99", tmp_path)) as reader:
        assert len(list(reader)) == 8
    with pytest.raises(UnreadableError, match="newer program"):
        read_capture(_as_version(whole, "2.0", tmp_path))
