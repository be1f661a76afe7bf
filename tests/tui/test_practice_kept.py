"""A practice that is interrupted: what was done is kept, and can be gone on with."""

import errno
import io
import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from captures.training.trainees import PracticeBegun, TraineeStore, Typed
from meterlink.training.case import Order, draw
from meterlink.training.practice import Practice
from tests.meterlink.circuit_patients import demo_profile
from tests.tui.terminals import ROOT
from tui.cli import main
from tui.practice.bench import PracticeBench
from tui.practice.plain import PlainPractice
from tui.practice.results import Diary, begin

STUCK = ["--seed", "3", "--fault", "stop-switch-stuck-closed", "--complaint", "no-spark"]
FIRST = ["cautions", "safe", "air", "tips", "check spark at the test gap", "set stop wire off"]
SECOND = ["check spark with the stop circuit isolated", "name stop switch", "done"]


class Typing(io.StringIO):
    """Lines typed one by one, and then Ctrl-C."""

    def readline(self, size: int = -1) -> str:
        line = super().readline(size)
        if not line:
            raise KeyboardInterrupt
        return line


def practise(monkeypatch, tmp_path, lines, *options, whole=False) -> int:
    typed = "".join(f"{line}\n" for line in lines)
    monkeypatch.setattr("sys.stdin", io.StringIO(typed) if whole else Typing(typed))
    own = ["--trainee", "Ann", "--trainees", str(tmp_path)]
    return main(["practice", "--plain", *own, *options])


@contextmanager
def in_another_terminal(tmp_path, *lines) -> Iterator[subprocess.Popen[str]]:
    """Have a practice of Ann's at work, the last of ``lines`` (look) done and those before kept."""
    command = [sys.executable, "-m", "tui", "practice", "--plain", *STUCK]
    command += ["--trainee", "Ann", "--trainees", str(tmp_path)]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as program:
        assert program.stdin is not None
        assert program.stdout is not None
        program.stdin.write("".join(f"{line}\n" for line in lines))
        program.stdin.flush()
        for line in program.stdout:
            if "so far" in line:
                break
        yield program


def facts_of(tmp_path, capsys) -> list[dict]:
    capsys.readouterr()
    assert main(["practice", "--results", "--trainee", "Ann", "--trainees", str(tmp_path)]) == 0
    words = capsys.readouterr().out
    own = ["--trainee", "Ann", "--trainees", str(tmp_path)]
    assert main(["practice", "--results", "--json", *own]) == 0
    facts = list(map(json.loads, capsys.readouterr().out.splitlines()))
    return [{**fact, "words": words} for fact in facts if fact["kind"] != "topic"]


def test_a_practice_left_by_ctrl_c_is_kept_without_a_score(monkeypatch, tmp_path, capsys):
    assert practise(monkeypatch, tmp_path, FIRST, *STUCK) == 130
    said = " ".join(capsys.readouterr().out.split())
    assert f"meterlink practice --resume --trainee 'Ann' --trainees {tmp_path}" in said
    assert "Together" not in said
    (left,) = facts_of(tmp_path, capsys)
    assert (left["kind"], left["checks"], left["typed"]) == ("unfinished", 1, len(FIRST))
    assert "Ann: 0 practised, the fault found in 0; 1 not finished." in left["words"]
    assert "no-spark: not finished, no score; 1 check begun, 7 min" in left["words"]


def test_what_is_gone_on_with_ends_as_though_nothing_had_been(monkeypatch, tmp_path, capsys):
    assert practise(monkeypatch, tmp_path, FIRST, *STUCK) == 130
    assert practise(monkeypatch, tmp_path, SECOND, "--resume", whole=True) == 0
    (resumed,) = facts_of(tmp_path, capsys)
    whole = tmp_path / "whole"
    assert practise(monkeypatch, whole, [*FIRST, *SECOND], *STUCK, whole=True) == 0
    (at_once,) = facts_of(whole, capsys)
    assert resumed["kind"] == "practice"
    for fact in ("points", "found", "minutes", "parts", "checks", "topics", "say"):
        assert resumed[fact] == at_once[fact]


def test_whoever_leaves_for_later_goes_on_where_they_were(monkeypatch, tmp_path, capsys):
    assert practise(monkeypatch, tmp_path, [*FIRST, "later"], *STUCK) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Left for later; what you did is kept. Go on with: meterlink practice --resume" in said
    assert "Together" not in said
    (left,) = facts_of(tmp_path, capsys)
    assert (left["kind"], left["typed"]) == ("unfinished", len(FIRST))
    assert practise(monkeypatch, tmp_path, SECOND, "--resume", whole=True) == 0
    (resumed,) = facts_of(tmp_path, capsys)
    assert resumed["found"]


def test_without_a_name_there_is_no_later(monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("later\nquit\n"))
    assert main(["practice", "--plain", *STUCK]) == 0
    assert "nothing is kept to go on with; “quit” gives up" in capsys.readouterr().out


def test_it_can_be_interrupted_again_and_again(monkeypatch, tmp_path, capsys):
    assert practise(monkeypatch, tmp_path, FIRST[:2], *STUCK) == 130
    assert practise(monkeypatch, tmp_path, FIRST[2:], "--resume") == 130
    (left,) = facts_of(tmp_path, capsys)
    assert left["typed"] == len(FIRST)
    assert practise(monkeypatch, tmp_path, SECOND, "--resume", whole=True) == 0
    (resumed,) = facts_of(tmp_path, capsys)
    assert resumed["found"]


def test_a_program_that_is_killed_loses_nothing_that_was_done(tmp_path, capsys):
    with in_another_terminal(tmp_path, "set stop wire off", "set cap off", "look") as program:
        program.kill()
    (left,) = facts_of(tmp_path, capsys)
    assert left["kind"] == "unfinished"
    assert left["typed"] >= 2


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (["--resume"], 2, "no practice that was interrupted"),
        (["--resume", "--seed", "4"], 2, "leave all else out"),
    ],
)
def test_what_cannot_be_gone_on_with_is_said(monkeypatch, tmp_path, capsys, options, code, said):
    assert practise(monkeypatch, tmp_path, ["quit"], *STUCK, whole=True) == 0
    capsys.readouterr()
    assert practise(monkeypatch, tmp_path, [], *options) == code
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    "changes",
    [{"engine": "another"}, {"order": {"seed": -1}}, {"order": {"fault": "\x1b[2J", "seed": 1}}],
)
def test_a_begun_practice_that_makes_no_sense_any_more_is_said(
    monkeypatch, tmp_path, capsys, changes
):
    case = draw(Order(seed=3, fault="plug-bad"), demo_profile())
    fields = {f: getattr(begin(case, ""), f) for f in PracticeBegun.__struct_fields__} | changes
    with TraineeStore(tmp_path).open("Ann") as file:
        file.append(PracticeBegun(**fields))
    assert practise(monkeypatch, tmp_path, [], "--resume") in (2, 4)
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "\x1b" not in said


def test_typed_lines_in_a_strange_file_are_shown_harmless(monkeypatch, tmp_path, capsys):
    case = draw(Order(seed=3, fault="plug-bad"), demo_profile())
    begun = begin(case, "")
    strange = Typed(begun=begun.id, line="\x1b[2Jname", minutes=0, checks=0, seconds=0)
    with TraineeStore(tmp_path).open("Ann") as file:
        file.append(begun, strange)
    assert practise(monkeypatch, tmp_path, ["quit"], "--resume", whole=True) == 0
    assert "\x1b" not in capsys.readouterr().out


def test_without_a_name_it_is_said_that_nothing_is_kept(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr("sys.stdin", Typing("look\n"))
    assert main(["practice", "--plain", *STUCK]) == 130
    said = " ".join(capsys.readouterr().out.split())
    assert "without --trainee nothing is kept" in said
    assert "--seed 3" in said


def test_an_exercise_that_is_interrupted_is_not_given_away(monkeypatch, tmp_path, capsys):
    file = tmp_path / "third.toml"
    file.write_text('format = 1\ntitle = "Third"\nstory = "Old."\nfault = "poor-earth"\n')
    monkeypatch.setattr("sys.stdin", Typing("look\n"))
    assert main(["practice", "--plain", "--exercise", str(file)]) == 130
    said = "".join(capsys.readouterr().out.split())
    assert "Third:Old." in said
    assert f"Thesameengineagain:--exercise{file}" in said
    assert "poor-earth" not in said


def test_lines_that_cannot_be_written_wait_and_it_is_said_once(monkeypatch, tmp_path):
    case = draw(Order(seed=3, fault="plug-bad"), demo_profile())
    store, shown = TraineeStore(tmp_path), []
    practice = Practice(case)

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "no space left")

    with store.open("Ann") as file, PracticeBench(practice) as bench:
        face = PlainPractice(practice, bench, shown.append, Diary(file, begin(case, "")))
        face.begin()
        with monkeypatch.context() as patched:
            patched.setattr("captures.record.append_file.os.write", full)
            face.take("set cap off")
            face.take("set cap on")
        (said,) = [line for line in shown if "cannot be written" in line]
        assert "(no space left); what comes is held in memory: free some space" in said
    (unfinished,) = store.results("Ann").unfinished
    assert [typed.line for typed in unfinished.typed] == ["set cap off", "set cap on"]


def test_a_practice_that_runs_in_another_terminal_is_not_gone_on_with(tmp_path, capsys):
    own = ["--trainee", "Ann", "--trainees", str(tmp_path)]
    with in_another_terminal(tmp_path, "set stop wire off", "look") as program:
        for options in (["--resume"], STUCK):
            assert main(["practice", "--plain", *options, *own]) == 5
            told = capsys.readouterr()
            assert "“Ann” is practising in another terminal at this moment; end that" in told.err
            assert told.err.count("\n") == 1
            assert not told.out
        rest, _ = program.communicate("done\n")
        assert "kept in" in rest
    (whole,) = facts_of(tmp_path, capsys)
    assert whole["kind"] == "practice"
