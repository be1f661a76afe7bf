"""``meterlink analyse``: the contract of its lines, and what it says of bad files."""

import json
import random
from pathlib import Path

import pytest

from tui.cli import main

KEYS = {
    "contact_t_s", "t_s", "lift_t_s", "value", "unit", "readings", "noise", "resolution",
    "corrected", "u", "verdict", "probability", "clear", "revises", "slope", "slope_u",
    "noise_origin", "poor_contact", "resolution_at_most",
}  # fmt: skip


def write(path: Path, rows: list[str], header: str = "t_s,value,unit") -> str:
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return str(path)


def touch(t: float, ohms: float, seconds: float, seed: int = 1, step: float = 0.001) -> list[str]:
    noise = random.Random(seed)
    rows = [
        f"{t + n / 10:.3f},{ohms + noise.gauss(0, step):.3f},ohm" for n in range(int(seconds * 10))
    ]
    end = t + int(seconds * 10) / 10
    return rows + [f"{end + n / 10:.3f},9.9E37,ohm" for n in range(12)]


def analyse(capsys: pytest.CaptureFixture[str], *args: str) -> list[dict]:  # type: ignore[type-arg]
    assert main(["analyse", *args, "--json"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_each_hold_is_one_line_with_the_contracts_keys(tmp_path, capsys):
    path = write(tmp_path / "r.csv", touch(1.0, 0.85, 2.0) + touch(5.0, 1.3, 2.0))
    *holds, summary = analyse(capsys, path, "--window", "0.7:1.0ohm")
    assert [hold["verdict"] for hold in holds] == ["in-window", "above"]
    for hold in holds:
        assert hold.keys() >= KEYS
        assert hold["contact_t_s"] < hold["t_s"] < hold["lift_t_s"]
    assert summary["summary"] == {"readings": 64, "touches": 2, "holds": 2, "dropped": 0}


def test_a_profile_and_a_part_of_it_stand_in_for_a_window(tmp_path, capsys):
    path = write(tmp_path / "r.csv", touch(1.0, 0.85, 2.0))
    args = ("--profile", "pump-set-demo", "--step", "primary")
    hold, _ = analyse(capsys, path, *args)
    assert hold["verdict"] == "in-window"


def test_not_a_numbers_are_dropped_and_counted(tmp_path, capsys):
    rows = touch(1.0, 0.85, 2.0)
    rows.insert(5, "1.45,9.91E37,ohm")
    *_, summary = analyse(capsys, write(tmp_path / "r.csv", rows), "--window", "0.7:1.0ohm")
    assert summary["summary"]["dropped"] == 1


def test_a_touch_that_never_lifts_has_no_lift(tmp_path, capsys):
    path = write(tmp_path / "r.csv", touch(1.0, 0.85, 2.0)[:20])
    hold, _ = analyse(capsys, path, "--window", "0.7:1.0ohm")
    assert hold["lift_t_s"] is None


def test_over_range_alone_is_never_held(tmp_path, capsys):
    rows = [f"{n / 10},1,ohm,1" for n in range(100)]
    path = write(tmp_path / "r.csv", rows, "t_s,value,unit,overload")
    (summary,) = analyse(capsys, path, "--window", "0.7:1.0ohm")
    assert summary["summary"]["touches"] == 0


@pytest.mark.parametrize(
    ("rows", "header", "said"),
    [
        (["0,1"], "t_s,value", "no column unit"),
        (["0,1,metre"], "t_s,value,unit", "expected ohm, kohm, Mohm or volt"),
        (["0,abc,ohm"], "t_s,value,unit", "type resistance and unit"),
        (["x,1,ohm"], "t_s,value,unit", "expected a number of seconds"),
    ],
)
def test_a_file_that_makes_no_sense_is_refused_by_line(tmp_path, capsys, rows, header, said):
    path = write(tmp_path / "r.csv", rows, header)
    assert main(["analyse", path, "--window", "0.7:1.0ohm", "--json"]) == 4
    sentence = capsys.readouterr().err
    assert said in sentence
    assert "line" in sentence


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (("nowhere.csv", "--window", "0.7:1.0ohm"), 4),
        (("{r}", "--window", "upside:down"), 2),
        (("{r}", "--window", "1.0:0.7ohm"), 2),
        (("{r}", "--window", "0.7:1.0ohm", "--lead-zero", "OL"), 2),
        (("{r}", "--window", "0.7:1.0ohm", "--lead-zero", "-1"), 2),
        (("{r}", "--step", "primary"), 2),
        (("{r}", "--profile", "nope", "--step", "primary"), 2),
        (("{r}", "--profile", "pump-set-demo", "--step", "nope"), 2),
        (("{r}", "--profile", "{bad}", "--step", "primary"), 1),
        ((), 2),
    ],
)
def test_bad_input_is_one_sentence_and_its_exit_code(tmp_path, capsys, args, code):
    readings = write(tmp_path / "r.csv", touch(1.0, 0.85, 2.0))
    bad = tmp_path / "bad.toml"
    bad.write_text("format = 1\nid = 'x'\n")
    filled = [arg.format(r=readings, bad=bad) for arg in args]
    assert main(["analyse", *filled]) == code
    captured = capsys.readouterr()
    assert captured.err.startswith("meterlink: ")
    assert captured.err.count("\n") == 1


def test_a_revision_is_a_line_of_its_own_and_no_double(tmp_path, capsys):
    rows = touch(1.0, 0.90, 2.0)[:20] + touch(3.0, 0.95, 2.0, seed=2)
    first, second, summary = analyse(capsys, write(tmp_path / "r.csv", rows))
    assert (first["revises"], second["revises"]) == (False, True)
    assert first["contact_t_s"] == second["contact_t_s"]
    assert first["lift_t_s"] == second["lift_t_s"]
    assert second["poor_contact"]
    assert second["noise_origin"] == "jumping"
    assert summary["summary"]["holds"] == 1


def test_a_step_that_does_not_show_is_not_zero(tmp_path, capsys):
    rows = [f"{n / 5},0.9,ohm" for n in range(8)]
    hold, _ = analyse(capsys, write(tmp_path / "r.csv", rows))
    assert hold["resolution"] is None
    assert hold["resolution_at_most"] == pytest.approx(0.1)
