"""``meterlink jobs``: lists, shows, attaches, packs and unpacks."""

import json
import os
import sys

import pytest

from captures.job.store import JobStore
from meterlink.events import CardBegan, CardEnded, Note
from tests.tui.demo_job import copy_demo
from tui.cli import main


@pytest.fixture
def jobs(tmp_path):
    return copy_demo(tmp_path / "jobs")


@pytest.fixture
def jobs_run(capsys):
    def run(*args):
        code = main(["jobs", *args])
        return code, capsys.readouterr().out.splitlines()

    return run


def test_the_list_says_how_each_job_stands(tmp_path, jobs_run):
    store = JobStore(tmp_path / "jobs")
    events = {
        "begun": [],
        "under-way": [CardBegan(t=0.0, card="c", profile="p")],
        "done": [CardBegan(t=0.0, card="c", profile="p"), CardEnded(t=1.0, card="c")],
        "signed-off": [CardEnded(t=1.0, card="c", signed_off=True)],
    }
    for title, told in events.items():
        with store.create(f"Pump {title}") as job:
            for event in told:
                job.log.append(event)
            for number in range(200):  # the card's end is no longer near the end
                job.log.append(Note(t=float(number), text="words " * 10))
    broken = store.root / "2026-01-01-broken"
    broken.mkdir()
    (broken / "log.jsonl").write_bytes(b"\x00\xff\n")
    _, lines = jobs_run("--jobs", str(store.root), "--json")
    found = {entry["job"]: entry["standing"] for entry in map(json.loads, lines)}
    stands = {name.partition("-pump-")[2]: word for name, word in found.items() if "pump" in name}
    assert stands == {title: title for title in events}
    assert found[broken.name] == "unreadable"
    _, lines = jobs_run("list", "--jobs", str(store.root), "--standing", "done")
    assert len(lines) == 1


def test_the_list_is_filtered_by_text_and_day(jobs, jobs_run):
    root, name = jobs
    assert jobs_run("--jobs", str(root), "--match", "PORTABLE pump")[1][0].startswith(name)
    assert jobs_run("--jobs", str(root), "--since", name[:10], "--until", name[:10])[1]
    for filters in (("--match", "nothing"), ("--until", "2000-01-01"), ("--since", "2999-01-01")):
        code, lines = jobs_run("list", "--jobs", str(root), *filters)
        assert code == 0
        assert "no such job" in lines[0]
    assert jobs_run("--jobs", str(root), "--since", "yesterday")[0] == 2


def test_a_job_is_shown_in_words_and_as_json(jobs, jobs_run):
    root, name = jobs
    _, lines = jobs_run("show", name, "--jobs", str(root))
    assert lines[0].startswith(f"{name}: whole")
    assert lines[1] == "Portable pump 3, spring service"
    assert any(line.startswith("Primary winding") for line in lines)
    _, lines = jobs_run("show", name, "--jobs", str(root), "--json")
    facts = [json.loads(line) for line in lines]
    assert (facts[0]["job"], facts[0]["record"]) == (name, "whole")
    assert all("kind" in fact and "at" in fact for fact in facts[1:])


def test_a_file_is_attached_and_the_job_packed_and_unpacked(jobs, jobs_run, tmp_path):
    root, name = jobs
    photo = tmp_path / "photo.png"
    photo.write_bytes(b"\x89PNG")
    assert jobs_run("attach", name, str(photo), "--jobs", str(root), "--note", "worn")[0] == 0
    pack = tmp_path / "pump.job.zip"
    assert jobs_run("pack", name, "--jobs", str(root), "--output", str(pack))[0] == 0
    other = tmp_path / "other"
    code, lines = jobs_run("unpack", str(pack), "--jobs", str(other))
    assert (code, lines) == (0, [f"wrote {other / name}"])
    assert (other / name / "attachments" / "0001-photo.png").read_bytes() == b"\x89PNG"
    assert jobs_run("unpack", str(photo), "--jobs", str(other))[0] == 4
    assert jobs_run("unpack", str(pack), "--largest", "0")[0] == 2


def test_an_unknown_job_is_said(jobs, capsys):
    assert main(["jobs", "show", "nothing", "--jobs", str(jobs[0])]) == 4
    assert "no job" in capsys.readouterr().err


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no text exist on Linux only")
def test_a_folder_that_somebody_else_named_steers_no_terminal_and_breaks_no_json(jobs, capsys):
    root, name = jobs
    odd = root / os.fsdecode(b"2026-11-25-\x1b[31mred\xff")
    (root / name).rename(odd)
    for words in (["jobs"], ["jobs", "show", odd.name], ["report", odd.name], ["verify", odd.name]):
        assert main([*words, "--jobs", str(root)]) == 0
        out = capsys.readouterr().out
        assert "\x1b" not in out
        out.encode()
    for words in (["jobs"], ["jobs", "show", odd.name], ["verify", odd.name]):
        assert main([*words, "--json", "--jobs", str(root)]) == 0
        for line in capsys.readouterr().out.splitlines():
            json.loads(line)
    assert main(["jobs", "pack", odd.name, "--jobs", str(root), "--output", f"{root}.zip"]) == 0
