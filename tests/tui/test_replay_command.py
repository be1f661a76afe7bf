"""``meterlink replay`` as a user runs it without a screen."""

import io
import json
import re
import shutil
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from captures.record.records import Header, decode, encode
from captures.record.seals import Seal
from captures.record.writer import RecordWriter
from captures.training.catalogue import Made
from captures.training.notes import TraineeAnswer
from meterlink.events import Held
from meterlink.hold.policy import RULE
from meterlink.reading import Reading
from tui.cli import main
from tui.commands.library import make_capture


@pytest.fixture(autouse=True)
def own_folders(tmp_path, monkeypatch):
    """Keep the user's own folders out of it."""
    monkeypatch.setattr("captures.training.catalogue.own_folder", lambda: tmp_path / "exercises")
    monkeypatch.setattr("captures.training.notes.default_folder", lambda: tmp_path / "answers")
    monkeypatch.setattr("sys.stdin", io.StringIO(""))


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """A capture of an open primary, made by this very program."""
    path = tmp_path_factory.mktemp("made") / "open-primary.jsonl"
    make_capture(Made(scenario="open-primary", seed=1, nplc=3), path)
    return path


@pytest.fixture
def capture(made, tmp_path) -> Path:
    """The same, to be changed at will."""
    return Path(shutil.copy(made, tmp_path))


def rewritten(capture: Path, change) -> Path:
    """Write and seal it again with each record as ``change`` gives it; None leaves it out."""
    lines = [decode(line) for line in capture.read_bytes().splitlines()]
    header, *kept = [record for record in map(change, lines) if record is not None]
    capture.unlink()
    with RecordWriter.create(capture, header) as writer:
        for record in kept:
            if not isinstance(record, Seal):
                writer.append(record)
    return capture


def test_a_capture_is_played_to_its_end_in_words(capture, capsys):
    assert main(["replay", str(capture), "--plain", "--speed", "max"]) == 0
    out = capsys.readouterr().out
    assert "Primary winding: open (the tips were tapped together before and after)" in out
    assert out.rstrip().splitlines()[-1].endswith("events, each as it was recorded")


def test_an_exercise_is_played_by_its_name(capsys):
    assert main(["replay", "sound-armature", "--check"]) == 0
    assert "each as it was recorded" in capsys.readouterr().out


def test_every_capture_of_a_job_is_played(tmp_path, capsys):
    assert main(["demo", "--plain", "--jobs", str(tmp_path / "jobs")]) == 0
    (job,) = (tmp_path / "jobs").iterdir()
    shutil.copy(next((job / "captures").iterdir()), job / "captures" / "0002-again.jsonl")
    capsys.readouterr()
    assert main(["replay", job.name, "--jobs", str(tmp_path / "jobs"), "--check"]) == 0
    assert capsys.readouterr().out.count("each as it was recorded") == 2


def test_json_gives_the_events_as_they_are_recorded_and_what_came_of_them(capture, capsys):
    assert main(["replay", str(capture), "--json"]) == 0
    *events, last = map(json.loads, capsys.readouterr().out.splitlines())
    recorded = [json.loads(line) for line in capture.read_text("utf-8").splitlines()]
    kinds = ("header", "reading", "seal")
    assert events == [record for record in recorded if record["kind"] not in kinds]
    assert last["comparison"]["exact"] is True
    assert last["comparison"]["recorded"] == len(events)


def test_it_begins_at_the_touch_that_is_asked_for(capture, capsys):
    assert main(["replay", str(capture), "--plain", "--speed", "max", "--touch", "3"]) == 0
    out = capsys.readouterr().out
    assert "Lead zero taken" not in out
    assert out.splitlines()[1].endswith("contact")


def test_it_begins_at_the_time_that_is_asked_for(capture, capsys):
    assert main(["replay", str(capture), "--plain", "--speed", "max", "--from", "10 s"]) == 0
    times = re.findall(r"^ *(\d+\.\d\d) s", capsys.readouterr().out, re.MULTILINE)
    assert float(times[0]) >= 10.0


@pytest.mark.parametrize("start", [("--touch", "99"), ("--from", "9999 s")])
def test_a_moment_that_the_record_has_not_is_wrong_usage(capture, capsys, start):
    assert main(["replay", str(capture), "--plain", "--speed", "max", *start]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "touches and ends at" in said


@pytest.mark.parametrize(
    "wrong",
    [
        ("--speed", "0"),
        ("--speed", "-1"),
        ("--speed", "quick"),
        ("--speed", "nan"),
        ("--touch", "0"),
        ("--from", "3 V"),
        ("--from", "-3 s"),
        ("--check", "--hide-verdict"),
        ("--touch", "1", "--from", "1 s"),
    ],
)
def test_wrong_usage_is_one_sentence(capture, capsys, wrong):
    assert main(["replay", str(capture), "--plain", *wrong]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_verdicts_are_hidden_until_they_are_said_and_the_answers_kept(
    capture, tmp_path, capsys, monkeypatch
):
    before = capture.read_bytes()
    monkeypatch.setattr("sys.stdin", io.StringIO("maybe\nopen\nIn Window\nshort\n"))
    args = ["--plain", "--speed", "max", "--hide-verdict", "--who", "Ines B."]
    assert main(["replay", str(capture), *args]) == 0
    out = capsys.readouterr().out
    asked = out.index("Say your verdict: open, short")
    assert "Primary winding: open" not in out[:asked]
    assert "“maybe” is none of them" in out
    assert "the bench says so too: open" in out
    assert "you said short; the bench says: within limits" in out
    assert "not said; the bench says: open" in out  # the switch in “run”: the typed lines had ended
    lines = (tmp_path / "answers" / "ines-b.jsonl").read_bytes().splitlines()
    answers = [msgspec.json.decode(line, type=TraineeAnswer) for line in lines]
    assert [(a.step, a.position, a.said, a.right) for a in answers] == [
        ("primary", "", "open", True),
        ("secondary", "", "in-window", True),
        ("stop-switch", "stop", "short", False),
        ("stop-switch", "run", "", False),
    ]
    assert {a.who for a in answers} == {"Ines B."}
    assert capture.read_bytes() == before


def test_step_by_step_waits_for_a_line_before_each_thing_that_happens(capture, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 5))
    assert main(["replay", str(capture), "--plain", "--speed", "max", "--step-by-step"]) == 0
    out = capsys.readouterr().out
    assert out.count("[Enter goes on]") == 6  # the sixth found the end of the input and went on
    assert out.index("[Enter goes on]") < out.index("Cautions")


def test_notes_are_shown_at_their_moment_and_may_pause(capture, tmp_path, capsys):
    (tmp_path / "open-primary.notes.toml").write_text(
        'format = 1\nby = "Ines"\n[[note]]\nstep = "primary"\nwhen = "verdict"\nsay = "Why?"\n'
        "pause = true\n",
        encoding="utf-8",
    )
    assert main(["replay", str(capture), "--plain", "--speed", "max"]) == 0
    lines = capsys.readouterr().out.splitlines()
    at = next(i for i, line in enumerate(lines) if "note: Why?" in line)
    assert "Primary winding: open" in lines[at - 1]
    assert "[Enter goes on]" in [line.strip() for line in lines[at:]]


def test_notes_that_point_nowhere_are_said_and_nothing_is_lost(capture, tmp_path, capsys):
    (tmp_path / "open-primary.notes.toml").write_text(
        'format = 1\n[[note]]\ntouch = 50\nsay = "x"\n[[note]]\nstep = "moon"\nsay = "y"\n',
        encoding="utf-8",
    )
    assert main(["replay", str(capture), "--check"]) == 1
    out = capsys.readouterr().out
    assert "each as it was recorded" in out
    assert "note[0] points at touch 50, contact, and the capture has" in out
    assert "note[1] points at step “moon”, begin, and the card “ignition-check” has no" in out


def test_notes_that_make_no_sense_are_one_sentence(capture, tmp_path, capsys):
    (tmp_path / "open-primary.notes.toml").write_text("format = 1\n[[note]]\n", encoding="utf-8")
    assert main(["replay", str(capture), "--check"]) == 1
    assert "open-primary.notes.toml: note[0]" in capsys.readouterr().err


def test_a_record_of_another_version_may_differ_and_it_is_said_in_what_and_why(capture, capsys):
    def older(record):
        if isinstance(record, Header):
            return replace(record, program="meterlink 0.0.9")
        if getattr(record, "step", "") == "primary" and hasattr(record, "verdict"):
            return replace(record, probability=0.5, advice="Old words.")
        return record

    assert main(["replay", str(rewritten(capture, older)), "--check"]) == 0
    out = capsys.readouterr().out
    assert "1 difference to the " in out
    assert "it was written by meterlink 0.0.9; this is meterlink" in out
    assert "probability was 0.5000, is" in out
    assert "verdict of primary" in out


def test_the_same_version_that_comes_to_other_events_is_a_fault(capture, capsys):
    def altered(record):
        if isinstance(record, Reading) and not record.overload and record.value < 1.0:
            return replace(record, value=record.value * 1.01)
        return record

    assert main(["replay", str(rewritten(capture, altered)), "--check"]) == 1
    out = capsys.readouterr().out
    assert "“meterlink verify” tells" in out
    assert "hold: " in out


def test_other_policy_numbers_are_named_where_this_program_has_others(capture, capsys):
    def otherwise(record):
        if isinstance(record, Header):
            policy = {**record.settings["policy"], "patience": 3}
            return replace(record, settings={**record.settings, "policy": policy})
        return record

    assert main(["replay", str(rewritten(capture, otherwise)), "--check"]) == 0
    assert "its policy and this program's differ in: patience" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (None, "made under a rule of before rules were numbered; this program follows rule"),
        (RULE - 1, f"made under rule {RULE - 1}; this program follows rule {RULE}"),
        (RULE + 1, f"made under rule {RULE + 1}; this program follows rule {RULE}"),
        ("three", "made under a rule of before rules were numbered"),
        (True, "made under a rule of before rules were numbered"),
    ],
)
def test_holds_made_under_another_rule_are_told_apart_from_a_fault(capture, capsys, said, words):
    def ruled(record):
        if isinstance(record, Header):
            settings = {**record.settings, "hold_rule": said}
            if said is None:
                del settings["hold_rule"]
            return replace(record, settings=settings)
        if isinstance(record, Held):
            return replace(record, value=record.value * 1.01)
        return record

    assert main(["replay", str(rewritten(capture, ruled)), "--check"]) == 0
    out = capsys.readouterr().out
    assert "hold: value was" in out
    assert words in out
    assert "meterlink verify" not in out


def test_json_says_under_which_rule_a_record_was_held(capture, capsys):
    assert main(["replay", str(capture), "--check", "--json"]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["comparison"]["hold_rule"] == RULE


def test_a_policy_of_other_numbers_is_replayed_by_those_numbers(tmp_path):
    """The record holds what it was held by, so a program with other numbers comes to the same."""
    from captures.record.replay import read_replay_setup, settings_for
    from meterlink.hold.policy import POLICY, HoldPolicy
    from tui.settings import CARDS, PROFILES

    other = HoldPolicy(least_readings=POLICY.least_readings + 4)
    settings = settings_for(
        CARDS.get("ignition-check"), PROFILES.get("pump-set-demo"), policy=other
    )
    header = Header(started="2026-11-03T09:00:00.000+00:00", program="x", settings=settings)
    read = decode(encode(header))
    assert isinstance(read, Header)
    assert read_replay_setup(read, "x").policy == other


def test_a_damaged_capture_is_played_as_far_as_it_can_be_read(capture, capsys):
    lines = capture.read_bytes().splitlines(keepends=True)
    lines[200] = b"\xff" + lines[200][5:]
    capture.write_bytes(b"".join(lines))
    assert main(["replay", str(capture), "--plain", "--speed", "max"]) == 4
    assert capsys.readouterr().out == ""
    assert main(["replay", str(capture), "--plain", "--speed", "max", "--damaged-too"]) == 0
    out = capsys.readouterr().out
    assert "altered, first at line 201" in out.splitlines()[0]
    assert "the card is done" in out
    assert "1 of its lines cannot be read" in out


def test_a_capture_that_was_cut_is_played_to_the_cut(capture, capsys):
    data = capture.read_bytes()
    capture.write_bytes(data[: len(data) // 2])
    assert main(["replay", str(capture), "--check"]) == 0
    assert "it was never closed" in capsys.readouterr().out


def test_a_capture_of_a_newer_format_is_refused_in_one_sentence(capture, capsys):
    text = capture.read_text("utf-8").replace('"version":"1.1"', '"version":"2.0"', 1)
    capture.write_text(text, encoding="utf-8")
    assert main(["replay", str(capture), "--check"]) == 4
    said = capsys.readouterr().err
    assert "newer program" in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    "data", [b"", b"t_s,value,unit\n0,1,ohm\n", b"\x00" * 500, b'{"kind":"header"}\n']
)
def test_what_is_no_capture_is_one_sentence(tmp_path, capsys, data):
    path = tmp_path / "x.jsonl"
    path.write_bytes(data)
    assert main(["replay", str(path), "--check"]) == 4
    assert capsys.readouterr().err.count("\n") == 1


def test_a_capture_without_card_is_sent_to_the_analysis(tmp_path, capsys):
    path = tmp_path / "x.jsonl"
    header = Header(started="2026-11-03T09:00:00.000+00:00", program="meterlink 0.1.0")
    path.write_bytes(encode(header))
    assert main(["replay", str(path)]) == 4
    assert "“meterlink analyse” reads it" in capsys.readouterr().err


def test_what_is_nowhere_is_said_with_where_to_look(capsys, tmp_path):
    assert main(["replay", "nothing", "--jobs", str(tmp_path)]) == 4
    assert "“meterlink library” lists" in capsys.readouterr().err
