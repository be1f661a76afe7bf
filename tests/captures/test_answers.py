"""Answers of trainees: a line each, in a file of their own."""

from pathlib import Path

import msgspec
import pytest

from captures.training.notes import TraineeAnswer, add_answer
from meterlink.errors import CannotWriteError
from meterlink.events import Verdict


def answer(said: str) -> TraineeAnswer:
    return TraineeAnswer(
        capture="quay.jsonl",
        started="2026-11-03T09:14:00.000+00:00",
        t=11.9,
        step="primary",
        said=said,
        verdict=Verdict.OPEN,
        clear=True,
        who="Ines",
        when="2026-11-03T10:00:00.000+00:00",
    )


def answers_in(path: Path) -> list[TraineeAnswer]:
    decoder = msgspec.json.Decoder(TraineeAnswer)
    return [decoder.decode(line) for line in path.read_bytes().splitlines()]


def test_answers_are_added_and_read_back(tmp_path):
    path = tmp_path / "class" / "ines.jsonl"
    for said in ("open", "short", ""):
        add_answer(path, answer(said))
    found = answers_in(path)
    assert found == [answer("open"), answer("short"), answer("")]
    assert [one.right for one in found] == [True, False, False]


def test_a_line_that_was_cut_costs_no_other(tmp_path):
    path = tmp_path / "ines.jsonl"
    add_answer(path, answer("open"))
    whole = path.read_bytes()
    path.write_bytes(whole + whole[:20])
    add_answer(path, answer("short"))
    first, cut, last = path.read_bytes().splitlines(keepends=True)
    assert (first, cut) == (whole, whole[:20] + b"\n")
    assert msgspec.json.decode(last, type=TraineeAnswer) == answer("short")


def test_a_place_that_cannot_be_written_is_a_sentence(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(CannotWriteError):
        add_answer(tmp_path / "file" / "ines.jsonl", answer("open"))
