"""``meterlink cards``: those that ship and the user's own, beside a profile and a fault table."""

import json
from pathlib import Path

import pytest

from tui.cli import main

OWN = """
format = 1
id = "club-check"
title = "The club's own check"
complaint = "no-spark"

[[step]]
kind = "caution"
id = "cautions"
title = "Cautions"

[[step]]
kind = "confirmation"
id = "spark"
title = "Spark"
check = "spark-at-gap"

[[step]]
kind = "measurement"
id = "coil"
title = "The old coil"
winding = "third"

[[step]]
kind = "confirmation"
id = "coil-again"
title = "The old coil again"
only_if = [{ step = "coil", was = ["open"] }]

[[step]]
kind = "steps-of"
card = "ignition-check"
"""


@pytest.fixture
def own(tmp_path, monkeypatch) -> Path:
    """The user's configuration folder, with a card of their own."""
    for name in ("HOME", "XDG_CONFIG_HOME", "APPDATA", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path))
    import platformdirs

    folder = platformdirs.user_config_path("meterlink", appauthor=False) / "cards"
    folder.mkdir(parents=True)
    (folder / "club-check.toml").write_text(OWN, encoding="utf-8")
    return folder


def test_a_card_of_the_users_own_is_listed_shown_and_borrows_steps(own, capsys):
    assert main(["cards", "--json"]) == 0
    listed = {card["card"]: card for card in map(json.loads, capsys.readouterr().out.splitlines())}
    assert listed["club-check"]["shipped"] is False
    assert listed["no-spark"]["shipped"] is True
    assert main(["cards", "show", "club-check"]) == 0
    shown = capsys.readouterr().out
    assert "Primary winding  (measurement, primary)" in shown
    assert "only if “coil” was open" in shown


def test_the_users_own_card_comes_before_a_shipped_one_of_the_same_name(own, capsys):
    text = OWN.replace("club-check", "no-spark").replace("The club's own check", "Ours")
    (own / "no-spark.toml").write_text(text, encoding="utf-8")
    assert main(["cards", "show", "no-spark"]) == 0
    assert capsys.readouterr().out.startswith("Ours")


def test_a_card_beside_a_profile_says_which_steps_it_would_pass_over(own, capsys):
    assert main(["cards", "check", "club-check", "--profile", "pump-set-module"]) == 0
    said = capsys.readouterr().out
    assert "(coil) would be passed over: not on this engine: third winding" in said
    assert "coil-again" not in said  # it depends on what is passed over
    assert "(primary) ends “cannot-tell”: electronics" in said
    assert "no step asks for the gap “armature”" in said


def test_checks_that_no_fault_table_knows_are_named(own, capsys):
    file = own / "odd.toml"
    text = OWN.replace("spark-at-gap", "spark-by-moonlight").replace("no-spark", "no-moon")
    file.write_text(text, encoding="utf-8")
    assert main(["cards", "check", str(file)]) == 1
    complaint, check = capsys.readouterr().out.splitlines()
    assert "complaint: the fault table has no “no-moon”; it has no-spark" in complaint
    assert "step[1].check: the fault table has no check “spark-by-moonlight”" in check
    assert complaint.startswith(str(file))


def test_outcomes_that_the_check_does_not_know_are_named(own, capsys):
    file = own / "odd.toml"
    file.write_text(OWN.replace("spark-at-gap", "plug-condition"), encoding="utf-8")
    assert main(["cards", "check", str(file)]) == 1
    assert "can end “no”, which “plug-condition” does not know" in capsys.readouterr().out


def test_every_shipped_card_passes_its_own_check(capsys):
    from tui.settings import CARDS

    for found in CARDS.all():
        assert main(["cards", "check", found.name]) == 0, capsys.readouterr().out


def test_a_card_that_is_none_is_one_sentence_with_its_key(tmp_path, capsys):
    file = tmp_path / "bad.toml"
    file.write_text(OWN.replace('kind = "confirmation"', 'kind = "dance"', 1), encoding="utf-8")
    assert main(["cards", "check", str(file)]) == 1
    (said,) = capsys.readouterr().err.splitlines()
    assert "bad.toml: step[1]" in said
    assert "Traceback" not in said


def test_a_card_that_signs_off_without_the_stop_check_is_not_worked_by(own, capsys):
    sign = '\n[[step]]\nkind = "confirmation"\nid = "sign"\ntitle = "Sign"\nsigns_off = true\n'
    (own / "hasty.toml").write_text(OWN + sign, encoding="utf-8")
    for command in (["cards", "check", "hasty"], ["cards", "show", "hasty"]):
        assert main(command) == 1
        assert "no sign-off without the stop check" in capsys.readouterr().err
