"""``meterlink profiles new``: questions, each answer checked, and a file that reads back."""

import io
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.profile import read_profile
from tui.cli import main
from tui.plain.profile_questions import as_toml, ask_profile
from tui.plain.prompts import EndedError, Prompter

WINDING = [
    *("yes", "primary", "primary terminal", "laminations", ""),
    *("0.7 ohm", "1.0 ohm", "", "50 ohm", "", "", "", "", "service manual, page 12"),
]
SUPPRESSED = [
    *("yes", "secondary", "plug lead", "laminations", "yes"),
    *("4.0 kohm", "7k ohm", "25 °C", "200 kohm", "400 ohm", "5 kohm", "10", "thermo", "yes"),
    "measured on three known to be good",
]
MODULE = [
    *("yes", "module", "plug lead", "laminations", "no"),
    *("electronics in line", "common practice, no published source"),
]
SWITCH = [
    *("yes", "stop switch", "", "stop wire", "block", "", "", "", "service manual, page 14"),
]
WHOLE = [
    *("Club pump 9", "", "for the tests"),
    *WINDING,
    *SUPPRESSED,
    *MODULE,
    "no",
    *SWITCH,
    "no",
    *("yes", "", "primary terminal", "laminations", "10 Mohm", "common practice"),
    "no",
    *("yes", "plug lead", "one end", "other end", "0 ohm", "5 ohm", "the cap's marking"),
    "no",
    *("yes", "armature", "0.010 in", "0.014 in", "service manual, page 15"),
    "no",
    *("yes", "shroud screws", "80 lbf·in", "88 lbf·in", "service manual, page 16"),
    "no",
]


def asked(answers: list[str]) -> tuple[bytes, str]:
    """Answer the questions; return the file and what was said."""
    said = io.StringIO()
    left = iter(answers)

    def read() -> str:
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    data = as_toml(ask_profile(Prompter(read, lambda words: said.write(words) and None)))
    assert list(left) == [], "questions ended before the answers"
    return data, said.getvalue()


def test_what_was_answered_reads_back_as_it_was_meant():
    profile = read_profile(asked(WHOLE)[0], "p.toml")
    assert (profile.id, profile.name) == ("club-pump-9", "Club pump 9")
    primary, secondary, module = profile.winding
    assert (primary.low, primary.high, primary.at, primary.open_above) == (0.7, 1.0, 20.0, 50.0)
    assert (primary.short_below, primary.temperature, primary.four_wire) == (None, "ambient", False)
    assert (secondary.high, secondary.series, secondary.series_tolerance) == (7e3, 5e3, 10.0)
    assert (secondary.temperature, secondary.four_wire, secondary.at) == (
        "thermocouple",
        True,
        25.0,
    )
    assert not module.judged_by_resistance
    assert module.why_not == "electronics in line"
    assert profile.switch[0].positions == {"stop": "closed", "run": "open"}
    assert profile.insulation[0].at_least == 10e6
    # NIST SP 811: one inch is 25.4 mm, one lbf·in is 0.112 984 8 N·m.
    assert profile.gap[0].low == pytest.approx(0.254e-3)
    assert profile.torque[0].high == pytest.approx(88 * 0.1129848290276167)
    parts = (*profile.winding, *profile.switch, *profile.insulation, *profile.torque)
    assert all(part.source for part in parts)


def test_values_stand_in_the_file_as_they_were_typed():
    data = asked(WHOLE)[0].decode()
    assert 'low = "0.010 in"' in data
    assert "[[gap]]" in data
    assert "[switch.positions]" in data


@pytest.mark.parametrize(
    ("at", "nonsense", "said"),
    [
        (0, ["", "x" * 81], "give it a name"),
        (1, ["Spaces here", "ÄÖ"], "small letters"),
        (3, ["perhaps"], "answer yes or no"),
        (
            8,
            ["0.7", "0.7 volt", "OL", "seven", "-1 ohm"],
            "type resistance and unit, such as 0.84 ohm",
        ),
        (9, ["0.5 ohm"], "below the lowest"),
        (10, ["20", "900 °C", "5 ohm"], "temperature"),
        (11, ["0.9 ohm", "50"], "in or below limits"),
        (12, ["0.8 ohm"], "in or above limits"),
        (14, ["feel"], "ambient, thermocouple, unknown"),
        (16, ["", "x"], "say where they are from"),
    ],
)
def test_nonsense_is_refused_entry_by_entry_with_the_mend(at, nonsense, said):
    answers = [*WHOLE[:at], *nonsense, *WHOLE[at:]]
    data, told = asked(answers)
    assert said in told
    assert data == asked(WHOLE)[0]


def test_a_name_that_is_there_already_is_asked_for_again():
    twice = [*WINDING, "yes", "primary", "module", *MODULE[2:]]
    profile = read_profile(asked([*WHOLE[:3], *twice, "no", "no", "no", "no", "no", "no"])[0], "p")
    assert [winding.name for winding in profile.winding] == ["primary", "module"]


def test_a_profile_of_nothing_is_asked_for_again():
    data, told = asked([*WHOLE[:3], *["no"] * 6, *WINDING, *["no"] * 6])
    assert "at least one winding or switch" in told
    assert read_profile(data, "p").winding[0].name == "primary"


@given(st.lists(st.text(max_size=40), max_size=30), st.integers(0, len(WHOLE) - 1))
def test_whatever_is_typed_the_file_is_valid_or_there_is_none(typed, at):
    answers = [*WHOLE[:at], *typed, *WHOLE[at:], *["no"] * 200]
    left = iter(answers)
    try:
        data = as_toml(ask_profile(Prompter(lambda: next(left), lambda words: None)))
    except (EndedError, StopIteration):
        return
    read_profile(data, "p.toml")


# --- as a command -------------------------------------------------------------------------------


def run(monkeypatch: pytest.MonkeyPatch, answers: list[str], *args: str) -> int:
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n".join(answers) + "\n"))
    return main(["profiles", "new", *args])


def test_it_is_written_and_its_path_is_said(tmp_path, monkeypatch, capsys):
    file = tmp_path / "new folder" / "pump.toml"
    assert run(monkeypatch, WHOLE, str(file)) == 0
    assert f"wrote {file}" in capsys.readouterr().out
    assert main(["profiles", "check", str(file)]) == 0
    assert [path.name for path in file.parent.iterdir()] == ["pump.toml"]


def test_without_a_path_it_goes_among_the_users_own(tmp_path, monkeypatch, capsys):
    for name in ("HOME", "XDG_CONFIG_HOME", "APPDATA", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path))
    assert run(monkeypatch, WHOLE) == 0
    capsys.readouterr()
    assert main(["profiles", "show", "club-pump-9"]) == 0
    shown = capsys.readouterr().out
    assert "source: service manual, page 12" in shown
    assert "open above 50 Ω" in shown or "open above 50 ohm" in shown


def test_nothing_is_overwritten_without_asking(tmp_path, monkeypatch, capsys):
    file = tmp_path / "pump.toml"
    file.write_text("precious", encoding="utf-8")
    assert run(monkeypatch, ["no", *WHOLE], str(file)) == 2
    assert file.read_text(encoding="utf-8") == "precious"
    assert "left as it is" in capsys.readouterr().err
    assert run(monkeypatch, ["yes", *WHOLE], str(file)) == 0
    assert read_profile(file.read_bytes(), "pump.toml").id == "club-pump-9"


def test_answers_that_end_early_write_nothing(tmp_path):
    file = tmp_path / "pump.toml"
    done = subprocess.run(
        [sys.executable, "-m", "tui", "profiles", "new", str(file)],
        input="Club pump 9\n\n",
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "the answers ended at" in done.stderr
    assert "nothing was written" in done.stderr
    assert not Path(file).exists()


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path, monkeypatch, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder", encoding="utf-8")
    assert run(monkeypatch, WHOLE, str(blocked / "pump.toml")) == 5
    (said,) = capsys.readouterr().err.splitlines()
    assert "cannot be written" in said
