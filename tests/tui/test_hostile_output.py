"""Whatever stands in a record, a pack, a path or a typed line: nothing that is printed steers.

The one property, over every face: no character of the Unicode categories Cc and Cf but line feed
and tab reaches standard output or standard error (and the line ends of CSV, RFC 4180).
"""

import contextlib
import io
import json
import shutil
import unicodedata
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from captures.exchange.packs import pack
from captures.job.attachments import attach
from captures.job.store import JobStore
from captures.record.records import Header
from drivers.clock import MonotonicClock
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.commands import Skip
from meterlink.declared import to_plain
from meterlink.events import (
    Asked,
    CardBegan,
    CommandReceived,
    Contact,
    Entered,
    Gap,
    Held,
    Lift,
    MeterSet,
    Note,
    StepBegan,
    StepEnded,
    StepReopened,
)
from meterlink.judging.accuracy import Accuracy
from meterlink.reading import Reading
from meterlink.source import Identity
from tests.captures.made import START
from tests.drivers.scripted import bench_meter, tcp_peer
from tests.tui.test_bench_command import bench
from tui.cli import main
from tui.plain.output import shown
from tui.settings import CARDS, PROFILES

STEERING = "\x1b[2J\x07\x9b31m\u202e\u2066\u200b\x85\x00\r\x7f\ufeff\U000e0041"
HOSTILE = st.text(
    alphabet=st.one_of(
        st.sampled_from(STEERING),
        st.characters(categories=["Cc", "Cf", "Lo", "Zl", "Zp"]),
        st.sampled_from('a{"}[]“'),
    ),
    min_size=1,
    max_size=40,
)


def steers(text: str) -> list[str]:
    kept = text.replace("\r\n", "\n")
    return [c for c in kept if unicodedata.category(c) in {"Cc", "Cf"} and c not in "\n\t"]


def make_job(root: Path, text: str) -> Path:
    """A job with ``text`` wherever a record can hold one."""
    card, profile = CARDS.get("ignition-check"), PROFILES.get("pump-set-demo")
    spoilt = to_plain(card)
    for step in spoilt["step"]:
        step["title"] = f"{step['title']} {text}"[:80]
    good = {"card": to_plain(card), "profile": to_plain(profile)}
    header = Header(
        started="2026-11-03T09:14:00.000+00:00",
        program=text,
        title=text,
        meter=Identity(maker=text, model=text, serial=text, firmware=text, port=text),
        accuracy=(Accuracy(percent=1.0, source=text),),
        profile=text,
        card=card.id,
        step=text,
        temperatures={text: 20.0},
        settings=good | {text: text, "scenario": text},
    )
    ids = [step.id for step in card.step]
    events = [
        Contact(t=1.0),
        Held(
            t=2.0, contact_t=1.0, value=0.84, readings=5, noise=1e-4, resolution=1e-4, u=1e-4, dof=4
        ),
        Lift(t=3.0, contact_t=1.0, held=True),
        MeterSet(t=3.0, quantity=text, lost=(text,)),
        Asked(t=3.0, step=ids[1], say=text, position=text),
        CommandReceived(t=3.1, command=Skip(reason=text, how="typed", who=text, when=text)),
        Entered(
            t=3.1, step=ids[1], text=text, value=None, unit="", who=text, when=text, how="typed"
        ),
        StepEnded(t=3.2, step=ids[1], outcome="skipped", reason=text, how="typed", who=text),
        StepReopened(t=3.3, step=ids[1], reason=text),
        StepEnded(t=3.4, step=text, outcome=text, reason=text, how="typed", who=text),
        Gap(t=3.5, until=3.6, why=text),
        Note(t=3.7, text=text, who=text),
    ]
    photo = root / "photo.txt"
    root.mkdir(parents=True)
    photo.write_text(text, encoding="utf-8", errors="replace")
    with JobStore(root / "jobs").create(text, settings=good, clock=lambda: START) as job:
        with job.new_capture(header) as capture:
            began = [CardBegan(t=0.0, card=card.id, profile=text), StepBegan(t=0.0, step=ids[0])]
            for event in (*began, *events):
                capture.append(event)
                job.log.append(event)
            capture.append(Reading(4.0, 0.84, raw=text))
        attach(job, photo, note=text)
    return job.folder


def faces(job: Path, root: Path, text: str) -> list[list[str]]:
    [capture] = (job / "captures").iterdir()
    jobs = ["--jobs", str(job.parent)]
    odd = "".join(c for c in text if c not in "\x00/")[:20] or "x"
    return [
        ["jobs", *jobs],
        ["jobs", *jobs, "--json"],
        ["jobs", "show", str(job)],
        ["jobs", "show", str(job), "--json"],
        ["jobs", "show", text, *jobs],
        ["jobs", "list", "--since", text, *jobs],
        ["verify", str(job)],
        ["verify", str(job), "--json"],
        ["verify", text, *jobs],
        ["analyse", str(capture)],
        ["analyse", str(capture), "--json"],
        ["analyse", text],
        ["analyse", str(capture), "--window", text],
        ["export", str(capture)],
        ["export", str(capture), "--holds"],
        ["export", str(job), "--output", str(root / f"{odd}.csv")],
        ["finding", str(job), "--complaint", "no-spark"],
        ["finding", str(job), "--complaint", "no-spark", "--json"],
        ["finding", "--outcome", f"{text}={text}", "--complaint", text],
        ["replay", str(capture), "--plain", "--speed", "max"],
        ["replay", str(capture), "--check"],
        ["replay", str(capture), "--json"],
        ["replay", text, *jobs],
        ["report", str(job), "--output", str(root / f"{odd}.html")],
        ["checks", *jobs],
        ["judge", text, "--window", "0.7:1.0ohm"],
        ["judge", "0.8", "--window", text],
        ["import", str(root / text.replace("\x00", "")), *jobs],
        ["jobs", "attach", str(job), str(root / text.replace("\x00", ""))],
        ["jobs", "pack", str(job), "--output", str(root / f"{odd}.zip")],
        [text],
    ]


def said(words: list[str]) -> str:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        main(words)
    return out.getvalue() + err.getvalue()


@pytest.fixture(autouse=True)
def nothing_typed(monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(""))


@settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(text=HOSTILE)
@example(text=STEERING)
@example(text="a\nwrote /etc/passwd")
def test_no_face_lets_a_record_steer_the_terminal(tmp_path, text):
    root = tmp_path / "odd"
    shutil.rmtree(root, ignore_errors=True)
    job = make_job(root, text)
    for words in faces(job, root, text):
        assert steers(said(words)) == [], words


def test_a_line_break_in_a_record_forges_no_line(tmp_path):
    job = make_job(tmp_path / "odd", "once\nFORGED: all is well")
    for words in faces(job, tmp_path / "odd", "x"):
        if "--json" in words or words[0] == "export":
            continue
        assert not [line for line in said(words).splitlines() if line.startswith("FORGED")], words


def test_json_is_escaped_and_read_back_as_it_was(tmp_path):
    text = "\u202egnp.exe\x9b31m\U000e0041"
    job = make_job(tmp_path / "odd", text)
    lines = said(["jobs", "show", str(job), "--json"]).splitlines()
    notes = [fact["text"] for fact in map(json.loads, lines) if fact.get("kind") == "note"]
    assert notes == [text]


@pytest.mark.parametrize("spoil", ["name", "member", "program"])
def test_a_hostile_pack_is_refused_or_taken_without_steering(tmp_path, spoil):
    job = make_job(tmp_path / "odd", STEERING)
    whole = tmp_path / "a.zip"
    pack_of = JobStore(job.parent).job(job.name)
    pack(pack_of, whole)
    bad = tmp_path / "b.zip"
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(bad, "w") as new:
        for info in old.infolist():
            data = old.read(info)
            if info.filename == "manifest.json":
                manifest = json.loads(data)
                if spoil == "member":
                    manifest["files"][1]["path"] = f"captures/0001-{STEERING[:8]}.jsonl"
                else:
                    manifest[spoil] = STEERING
                data = json.dumps(manifest).encode()
            new.writestr(info.filename, data)
    for words in (["jobs", "unpack", str(bad), "--jobs", str(tmp_path / "to")],):
        assert steers(said(words)) == []


def practice_faces(root: Path, text: str) -> list[list[str]]:
    kept = ["--trainees", str(root / "trainees")]
    return [
        ["practice", "--plain", "--seed", "7", "--trainee", text, *kept],
        ["practice", "--plain", "--seed", "7", "--jobs", str(root / "jobs")],
        ["practice", "--results", "--trainee", text, *kept],
        ["practice", "--results", "--json", *kept],
        ["practice", "--results", *kept],
        ["practice", "--plain", "--complaint", text],
        ["practice", "--resume", "--trainee", text, *kept],
    ]


def library_faces(root: Path, text: str) -> list[list[str]]:
    odd = str(root / text.replace("\x00", ""))
    return [
        ["library"],
        ["library", "list", "--json"],
        ["library", "show", "odd"],
        ["library", "show", "odd", "--json"],
        ["library", "check", "odd"],
        ["library", "show", text],
        ["library", "check", text],
        ["library", "pack", odd],
        ["library", "unpack", odd],
        ["library", "make", odd, "--seed", "x" + text],
        ["replay", "odd", "--plain", "--speed", "max"],
    ]


@settings(
    max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(text=HOSTILE)
@example(text=STEERING)
def test_no_practice_lets_a_typed_line_or_a_kept_one_steer_the_terminal(
    tmp_path, monkeypatch, text
):
    root = tmp_path / "odd"
    shutil.rmtree(root, ignore_errors=True)
    folder = root / "trainees"
    folder.mkdir(parents=True)
    line = {"kind": "trainee", "format": 1, "name": text}
    (folder / "of-x-00000000.practice.jsonl").write_text(json.dumps(line) + "\n{" + text + "\n")
    for words in practice_faces(root, text):
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{text}\nlook {text}\nhelp\nquit\n"))
        assert steers(said(words)) == [], words


@settings(
    max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(text=HOSTILE)
@example(text=STEERING)
def test_no_exercise_from_elsewhere_steers_the_terminal(tmp_path, monkeypatch, text):
    root = tmp_path / "odd"
    shutil.rmtree(root, ignore_errors=True)
    folder = root / "own" / "class"
    folder.mkdir(parents=True)
    [capture] = (make_job(root / "job", text) / "captures").iterdir()
    shutil.copy(capture, folder / "odd.jsonl")
    told = '"' + "".join(f"\\U{ord(c):08x}" for c in text) + '"'  # as TOML has every character
    (folder / "catalogue.toml").write_text(
        f"""format = 1
[[exercise]]
id = "odd"
title = {told}
goal = {told}
difficulty = "easy"
explanation = {told}
expect = {{ {told} = {told} }}
fault = {told}
""",
        encoding="utf-8",
    )
    note = f'format = 1\nby = {told}\n[[note]]\nat = "1 s"\nsay = {told}\n'
    (folder / "odd.notes.toml").write_text(note, encoding="utf-8")
    monkeypatch.setattr("captures.training.catalogue.own_folder", lambda: root / "own")
    assert json.loads(said(["library", "show", "odd", "--json"]))["id"] == "odd"
    for words in library_faces(root, text):
        assert steers(said(words)) == [], words


@pytest.mark.parametrize("form", [[], ["--json"], ["--csv"]])
def test_no_meter_steers_the_terminal(form):
    meter = bench_meter()
    odd = STEERING.encode("utf-8", "replace").replace(b"\n", b"").replace(b"\r", b"")
    answers = iter([b"+8.4E-01", odd, b"+8.4E-01 " + odd, b"\x1b]0;x\x07+8.4E-01"])

    def answer(line):
        if line == b"*IDN?":
            return b"maker" + odd + b"," + odd + b"," + odd + b"," + odd + b"\n"
        if line == b"READ?":
            return next(answers, b"+8.5E-01") + b"\n"
        return meter(line)

    with tcp_peer(answer) as peer:
        told = said(["read", "--port", peer.resource, "--count", "3", *form])
        told += said(["meters", "--port", peer.resource])
    assert steers(told) == []
    for words in (["--port", STEERING], ["--port", "socket://127.0.0.1:1", "--frames", STEERING]):
        assert steers(said(["read", *words, *form])) == []


@given(text=st.text(max_size=60))
def test_the_writer_lets_through_what_shows_and_nothing_that_steers(text):
    out = shown(text)
    assert steers(out) == []
    if not steers(text) and all(
        unicodedata.category(c) not in {"Cs", "Co", "Cn", "Zl", "Zp"} for c in text
    ):
        assert out == text


@given(value=st.dictionaries(st.text(min_size=1, max_size=8), st.text(max_size=20), min_size=1))
def test_the_writer_keeps_json_what_it_is(value):
    line = json.dumps(value, ensure_ascii=False)
    out = shown(line)
    assert json.loads(out) == value
    assert steers(out) == []


def test_a_live_bench_repeats_nothing_that_was_typed_as_it_came(tmp_path):
    typed = "\n19 °C\nskip \x1b[31m\u202e\x07 no time\n\x9b31m\nquit\n"
    odd = "pump \x1b[2J\u202e\x07"
    with SimulatedBench(load_scenario("spring-service"), clock=MonotonicClock()) as simulated:
        args = ("--port", simulated.port, "--profile", "pump-set-demo", "--job", odd, "--who", odd)
        done = bench(tmp_path, *args, typed=typed)
        assert done.returncode == 0, done.stderr
        assert steers(done.stdout + done.stderr) == []
        [job] = (tmp_path / "jobs").iterdir()
        again = bench(tmp_path, "--port", simulated.port, "--job", job.name, typed="quit\n")
    assert steers(again.stdout + again.stderr) == []
    for words in (["replay", str(job), "--plain", "--speed", "max"], ["jobs", "show", str(job)]):
        assert steers(said(words)) == []
