"""``meterlink judge``: a typed reading, judged on the command line."""

import json
import subprocess
import sys
from math import sqrt

import pytest

from tui.cli import main

WINDOW = ["--window", "0.7:1.0ohm"]


def facts(capsys, *argv: str) -> dict:
    assert main(["judge", *argv, "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.count("\n") == 1
    return json.loads(out)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("0.842", "in-window"),
        ("0R842", "in-window"),
        ("842m", "in-window"),
        ("0.5", "below"),
        ("1.3", "above"),
        ("0.01", "short"),
        ("OL", "open"),
        ("-0.002", "short"),
        ("-0R002", "short"),
        ("-2e-3", "short"),
    ],
)
def test_every_verdict_exits_0(capsys, value, verdict):
    assert facts(capsys, value, *WINDOW)["verdict"] == verdict


def test_the_keys_of_the_contract(capsys):
    told = facts(capsys, "4k7", "--window", "4k:7kohm")
    assert told["value"] == told["corrected"] == 4700
    assert told["probability"] > 0.99
    assert told["clear"] is True
    lines = {line["name"]: line for line in told["budget"]}
    # Resolution as written: 100 ohm, rectangular (GUM F.2.2.1).
    assert lines["resolution"]["u"] == pytest.approx(100 / sqrt(12))
    assert lines["resolution"]["dof"] is None
    assert lines["resolution"]["assumed"] is False
    assert lines["meter"]["assumed"] is True
    low, high = told["interval"]
    assert told["u"] == pytest.approx(max(4700 - low, high - 4700))
    assert (told["rule"], told["decision"]) == ("simple", "accept")
    assert told["risk"] == pytest.approx(1 - told["probability"])


def test_nothing_is_clear_that_rests_on_what_nobody_declared(capsys):
    told = facts(capsys, "0.99", *WINDOW)
    assert told["clear"] is False
    assert "Take the lead zero" in told["advice"]
    assert {line["name"] for line in told["budget"] if line["assumed"]} == {
        *("meter", "leads", "contact", "emf", "drift")
    }
    assert told["corrected"] == 0.99
    sure = facts(capsys, "0.85", *WINDOW, "--leads", "0:0.05ohm")
    assert sure["clear"] is True


def test_an_over_range_is_the_word_of_whoever_types_it(capsys):
    told = facts(capsys, "OL", "--window", "4k:7kohm")
    assert (told["verdict"], told["clear"], told["probability"]) == ("open", False, 0.9)


@pytest.mark.parametrize(
    ("rule", "value", "decision"),
    [
        ("simple", "0.999", "accept"),
        ("simple", "1.001", "reject"),
        ("guarded-acceptance", "0.999", "undecided"),
        ("guarded-acceptance", "0.85", "accept"),
        ("guarded-rejection", "1.001", "undecided"),
        ("guarded-rejection", "1.200", "reject"),
    ],
)
def test_the_decision_is_by_the_rule_that_is_named(capsys, rule, value, decision):
    told = facts(capsys, value, *WINDOW, "--four-wire", "--rule", rule)
    assert (told["rule"], told["decision"]) == (rule, decision)
    assert (told["risk"] is None) == (decision == "undecided")


def test_correction_and_budget_by_hand(capsys):
    told = facts(
        capsys,
        "0.950",
        *WINDOW,
        *("--accuracy", "0.8%+3", "--resolution", "0.001", "--lead-zero", "0.1"),
        *("--temperature", "25", "--reference-temperature", "20"),
    )
    # IEC 60034-1: (0.950 - 0.1) * (235 + 20) / (235 + 25).
    assert told["corrected"] == pytest.approx(0.85 * 255 / 260)
    u = {line["name"]: line["u"] for line in told["budget"]}
    assert u["meter"] == pytest.approx(255 / 260 * (0.008 * 0.95 + 0.001) / sqrt(3))
    assert u["leads"] == u["resolution"] == pytest.approx(255 / 260 * 0.001 / sqrt(12))
    assert u["temperature"] == pytest.approx(0.85 * 255 / 260 * 2 / sqrt(3) / 260)
    # No more than a normal distribution would give about the middle of what the tips add.
    most = 1.959964 * sqrt(sum(x * x for x in u.values())) + 255 / 260 * 0.005
    assert 0.95 * most < told["u"] <= most


def test_temperature_alone_means_a_window_at_20_degrees(capsys):
    told = facts(capsys, "0.85", *WINDOW, "--temperature", "77 F")
    assert told["corrected"] == pytest.approx(0.85 * 255 / 260)


def test_a_reference_alone_means_that_the_temperature_is_unknown(capsys):
    told = facts(capsys, "0.85", *WINDOW, "--reference-temperature", "20")
    assert any("0 to 40 °C is assumed" in note for note in told["notes"])


def test_an_over_range_has_no_value(capsys):
    told = facts(capsys, "OL", "--window", "4k:7kohm")
    assert (told["value"], told["corrected"], told["u"]) == (None, None, None)
    assert any("Lifted probes" in note for note in told["notes"])


@pytest.mark.parametrize(
    ("argv", "verdict"),
    [
        (["0.3", "--window", ":2ohm", "--as", "closed"], "in-window"),
        (["5", "--window", ":2ohm", "--as", "closed"], "above"),
        (["2M2", "--window", "1M:", "--as", "open"], "open"),
        (["OL", "--window", "1M:", "--as", "open"], "open"),
        (["0.3", "--window", "1M:", "--as", "open"], "short"),
        (["0.45V", "--window", "0.2:0.6volt"], "in-window"),
    ],
)
def test_switches_and_voltages(capsys, argv, verdict):
    assert facts(capsys, *argv)["verdict"] == verdict


def test_plain_text_says_it_all_in_a_few_lines(capsys):
    argv = ["judge", "1.12", *WINDOW, "--accuracy", "0.8%+3", "--lead-zero", "0.10"]
    assert main([*argv, "--temperature", "25"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("above: close, ")
    assert any("1.000 ± 0.0" in line and "at 20 °C" in line for line in lines)
    assert any("better meter" in line for line in lines)
    assert [line.strip().partition("  ")[0] for line in lines[-8:]] == [
        "accuracy of the meter",
        "temperature",
        "last digit",
        "lead zero",
        "contact of the tips (assumed)",
        "thermal voltage (assumed)",
        "drift of the meter (assumed)",
        "together",
    ]
    assert all(len(line) <= 250 for line in lines)


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["4q7", *WINDOW], "cannot be read"),
        (["0.8", "--window", "1.0:0.7ohm"], "upside down"),
        (["0.8", "--window", "0.7"], "LOW:HIGH"),
        (["5V", *WINDOW], "type resistance and unit"),
        (["0.8", *WINDOW, "--accuracy", "good"], "accuracy"),
        (["0.8", *WINDOW, "--temperature", "900"], "900 °C is no temperature"),
        (["0.8", *WINDOW, "--temperature", "5 V"], "type temperature and unit"),
        (["0.8", *WINDOW, "--as", "closed"], "highest"),
        (["0.8", *WINDOW, "--as", "open"], "lowest"),
        (["0.4V", "--window", "0.2:0.6V", "--lead-zero", "0.1"], "belong to a resistance"),
        (["0.8", *WINDOW, "--lead-zero", "OL"], "lead zero"),
        (["0.8", *WINDOW, "--lead-zero", "-1"], "no lead zero"),
        (["0.8", *WINDOW, "--resolution", "OL"], "resolution"),
        (["0.8", *WINDOW, "--resolution", "0"], "more than zero"),
        (["0.8", *WINDOW, "--resolution", "-0.01"], "more than zero"),
        (["0.8", *WINDOW, "--temperature", "20k"], "cannot be read"),
        (["0.8", *WINDOW, "--temperature", "20", "--temperature-within", "-1"], "zero kelvins"),
        (["0.8", *WINDOW, "--temperature", "20", "--temperature-within", "x"], "invalid float"),
        (["1e300", *WINDOW], "too large"),
        (["1e14", *WINDOW], "more than any meter measures"),
        (["-0.85", *WINDOW], "No resistance is below zero"),
        (["0.1", *WINDOW, "--lead-zero", "0.5"], "take the lead zero again"),
        (["0.8", *WINDOW, "--leads", "0.3:0.1ohm"], "upside down"),
        (["0.8", *WINDOW, "--drift", "2"], "0 to 1"),
        (["0.8"], "--window"),
    ],
)
def test_what_makes_no_sense_is_one_sentence_and_exit_code_2(capsys, argv, said):
    assert main(["judge", *argv]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert err.count("\n") == 1


def test_it_runs_as_a_program_whose_terminal_lacks_the_ohm_sign():
    done = subprocess.run(
        [sys.executable, "-m", "tui", "judge", "4k7", "--window", "4k:7kohm"],
        capture_output=True,
        check=True,
        env={"PYTHONIOENCODING": "ascii", "PATH": ""},
        timeout=60,
    )
    assert b"4.7 kohm" in done.stdout
    assert b"+/-" in done.stdout
    assert b"?" not in done.stdout
