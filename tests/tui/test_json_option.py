"""``--json`` stands before or after the word that says what to do, and means the same."""

import json
from importlib import resources
from pathlib import Path

import pytest

from tui.cli import main
from tui.settings import CARDS, PROFILES


def lines(capsys, *argv: str) -> list[dict[str, object]]:
    assert main([*argv]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def file_of(shelf, name: str) -> str:
    return next(str(found.file) for found in shelf.all() if Path(found.file).stem == name)


@pytest.mark.parametrize(
    ("command", "rest"),
    [
        ("profiles", ["list"]),
        ("profiles", ["show", "pump-set-demo"]),
        ("profiles", ["check", file_of(PROFILES, "pump-set-demo")]),
        ("cards", ["list"]),
        ("cards", ["show", "no-spark"]),
        ("cards", ["check", "no-spark", "--profile", "pump-set-demo"]),
        ("frames", ["list"]),
        ("frames", ["show", "scpi-numbers"]),
        ("library", ["list"]),
    ],
)
def test_before_or_after_the_word(capsys, command, rest):
    before = lines(capsys, command, "--json", *rest)
    assert before
    assert lines(capsys, command, *rest, "--json") == before


@pytest.mark.parametrize("command", ["profiles", "cards", "frames", "library"])
def test_without_a_word_there_is_the_list(capsys, command):
    assert lines(capsys, command, "--json") == lines(capsys, command, "list", "--json")


def test_a_card_with_mistakes_says_them_as_facts_and_exits_1(capsys, tmp_path):
    (card,) = (found.file for found in CARDS.all() if found.file.stem == "ignition-check")
    text = Path(card).read_text("utf-8").replace('"primary-resistance"', '"no-such-check"')
    mistaken = tmp_path / "mistaken.toml"
    mistaken.write_text(text, encoding="utf-8")
    assert main(["cards", "check", str(mistaken), "--json"]) == 1
    (facts,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert facts["mistakes"]
    assert "no-such-check" in " ".join(facts["mistakes"])


def test_a_name_that_would_steer_the_terminal_is_listed_harmlessly(tmp_path, monkeypatch, capsys):
    folder = tmp_path / "profiles"
    folder.mkdir()
    monkeypatch.setattr("tui.settings.config_folder", lambda: tmp_path)
    text = (resources.files("meterlink") / "data/profiles/pump-set-demo.toml").read_text("utf-8")
    hostile = text.replace('name = "Portable', r'name = "\u001b[31m\u202ePortable', 1)
    (folder / "mine.toml").write_text(hostile, "utf-8")
    assert main(["profiles"]) == 0
    shown = capsys.readouterr().out
    assert "[31m" in shown
    assert "\x1b" not in shown
    assert "\u202e" not in shown
