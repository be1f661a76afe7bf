"""``meterlink verify``: what it says, and its exit codes."""

import json

import pytest

from tests.tui.demo_job import copy_demo
from tui.cli import main


@pytest.fixture
def jobs(tmp_path):
    return copy_demo(tmp_path / "jobs")


def test_a_job_is_whole_by_name_and_by_path(jobs, capsys):
    root, name = jobs
    assert main(["verify", name, "--jobs", str(root)]) == 0
    assert main(["verify", str(root / name)]) == 0
    out = capsys.readouterr().out
    assert out.count(": whole, ") == 4


def test_an_altered_capture_is_named_with_its_line(jobs, capsys):
    root, name = jobs
    [capture] = (root / name / "captures").iterdir()
    lines = capture.read_bytes().splitlines(keepends=True)
    lines[41] = lines[41].replace(b'"t":', b'"t":1', 1)
    capture.write_bytes(b"".join(lines))
    assert main(["verify", str(capture), "--json"]) == 1
    facts = json.loads(capsys.readouterr().out)
    assert (facts["state"], facts["first_bad_line"]) == ("altered", 42)
    assert main(["verify", name, "--jobs", str(root)]) == 1
    assert "altered, first at line 42" in capsys.readouterr().out


def test_a_cut_capture_has_an_unsealed_tail(jobs, capsys):
    root, name = jobs
    [capture] = (root / name / "captures").iterdir()
    capture.write_bytes(capture.read_bytes()[:-700])
    assert main(["verify", str(capture)]) == 1
    said = capsys.readouterr().out
    assert ": cut, it ends at line" in said
    assert "unsealed tail from line" in said


@pytest.mark.parametrize("what", ["no-such-job", "/dev/zero", "\x1b[31m", "x" * 5000])
def test_what_cannot_be_checked_is_said_in_one_sentence(jobs, capsys, what):
    assert main(["verify", what, "--jobs", str(jobs[0])]) == 4
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert said.err.rstrip("\n").isprintable()
