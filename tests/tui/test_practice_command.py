"""Practice as a trainee meets it: typed lines, the real driver over a socket, the real bench."""

import io
import json
import re

import pytest

from captures.job.job import Job
from meterlink.circuit.workshop import Workshop
from meterlink.training.case import Order, draw, fault_names
from meterlink.training.practice import Practice
from meterlink.training.score import score
from tests.meterlink.circuit_patients import demo_profile
from tests.tui.careful_trainee import CarefulTrainee
from tui.cli import main
from tui.practice.bench import PracticeBench
from tui.practice.plain import PlainPractice

BASE = demo_profile()


def practice_on(seed: int = 3, **order: str) -> Practice:
    return Practice(draw(Order(seed=seed, **order), BASE))


def type_in(monkeypatch, *lines: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))


def play(practice: Practice, *lines: str) -> str:
    """Type ``lines`` and return all that was shown."""
    shown: list[str] = []
    with PracticeBench(practice) as bench:
        face = PlainPractice(practice, bench, shown.append)
        left = list(lines)
        face.play(lambda prompt: left.pop(0) if left else None)
    return "\n".join(shown)


# --- a careful trainee, end to end -------------------------------------------------------------


@pytest.mark.parametrize(
    ("fault", "complaint"),
    [
        ("open-primary", "no-spark"),
        ("shorted-primary", "no-spark"),
        ("open-secondary", "no-spark"),
        ("poor-earth", "no-spark"),
        ("stop-switch-stuck-closed", "no-spark"),
        ("stop-wire-chafed", "no-spark"),
        ("key-sheared-or-missing", "no-spark"),
        ("stop-wire-broken", "wont-stop"),
        ("brake-switch-never-closes", "wont-stop"),
        ("open-primary", "dies-hot"),
    ],
)
def test_whoever_probes_with_care_and_follows_the_advice_finds_the_place(fault, complaint):
    practice = practice_on(1, fault=fault, complaint=complaint, difficulty="hard")
    with PracticeBench(practice) as bench:
        trainee = CarefulTrainee(practice, bench)
        trainee.make_safe()
        trainee.follow_the_advice()
        trainee.give_back()
    scored = score(practice.case, practice.ledger, 8.0)
    assert scored.found
    assert scored.points >= 96
    assert scored.checks == len(practice.case.walk.checks)


def test_probes_on_the_circuit_say_what_the_worked_out_check_says():
    """Two ways to one answer: real driver, meter and hold; and the circuit's sums alone."""
    practice = practice_on(2, fault="leaking-insulation", difficulty="hard")
    careful = Workshop(practice.case.patient, practice.case.profile)
    with PracticeBench(practice) as bench:
        trainee = CarefulTrainee(practice, bench)
        trainee.make_safe()
        for check in practice.checks:
            if not practice.case.model.nodes[check].declared.closing:
                assert trainee.check(check) == careful.answer(check), trainee.shown[-12:]


# --- traps -------------------------------------------------------------------------------------

ON_PRIMARY = "probes primary terminal, laminations"
SAFE = ("cautions", "safe", "air", "tips")
SAID = ("on", "on bare metal")
"""An over range called open on one's word."""
STUCK = {"fault": "stop-switch-stuck-closed", "complaint": "no-spark"}


def flaws_of(practice: Practice) -> str:
    said = [item.say for item in score(practice.case, practice.ledger, 5.0).items]
    return " ".join(sentence for sentences in said for sentence in sentences)


def test_with_the_stop_wire_left_on_a_good_primary_reads_short_and_the_score_says_why():
    practice = practice_on(**STUCK)
    play(practice, *SAFE, "check primary", *(2 * (ON_PRIMARY, "wait", "lift")))
    assert practice.ledger.outcomes["primary-resistance"] in ("short", "below")
    assert "The stop wire was on its tab." in flaws_of(practice)
    assert "with care it shows “within limits”" in flaws_of(practice)


def test_paint_under_a_probe_reads_over_range_until_somebody_says_that_it_touches():
    practice = practice_on(**STUCK)
    shown = play(
        practice,
        *SAFE,
        "set stop wire off",
        "check primary",
        "probes primary terminal, painted laminations",
    )
    assert "Nothing is held; the meter shows over range." in shown
    assert "primary-resistance" not in practice.ledger.outcomes
    practice = practice_on(**STUCK)
    play(
        practice,
        *SAFE,
        "set stop wire off",
        "check primary",
        "probes primary terminal, painted laminations",
        *SAID,
    )
    assert practice.ledger.outcomes["primary-resistance"] == "open"
    assert "A probe was on paint" in flaws_of(practice)


def test_on_an_easy_engine_a_trial_is_explained_and_its_slips_are_said_at_once():
    easy, medium = (
        play(practice_on(difficulty=d, **STUCK), *SAFE, "check spark with the stop circuit")
        for d in ("easy", "medium")
    )
    assert "> Take the stop wire off the armature, keep it clear of metal" in easy
    assert "! Look again: the stop wire was on its tab." in easy
    assert "Look again" not in medium
    assert "Take the stop wire off" not in medium


def test_on_an_easy_engine_a_skipped_safety_step_is_said_at_once_and_once():
    easy = play(
        practice_on(difficulty="easy", **STUCK),
        "cautions",
        "check plug",
        "check spark at the test gap",
    )
    assert easy.count("! You went to work with the ignition live") == 1
    assert easy.count("! You made a spark before plug hole and fuel were closed") == 1
    assert "before the cautions were read" not in easy
    hard = play(practice_on(difficulty="hard", **STUCK), "check plug", "name plug")
    assert "You went to work" not in hard


def test_it_is_said_that_the_tips_are_off_once_a_check_has_its_outcome():
    open_primary = {"fault": "open-primary", "complaint": "no-spark"}
    measured = ("set stop wire off", "check primary", ON_PRIMARY)
    ends = play(practice_on(**open_primary), *SAFE, *measured, *SAID).splitlines()[-2:]
    assert ends == [
        "  done: Primary winding: open (said by the technician, not measured)",
        "  The tips are off.",
    ]
    ends = play(practice_on(**STUCK), *SAFE, *measured, "lift").splitlines()[-1]
    assert ends == "  done: Primary winding: within limits"
    left = play(practice_on(**STUCK), *SAFE, *measured, "check spark at the test gap")
    assert "The check is left; the tips are off." in left
    ends = play(practice_on(**STUCK), *SAFE, ON_PRIMARY, "check spark at the test gap")
    assert "  The tips are off." in ends.splitlines()


def test_an_open_called_in_the_air_is_told_apart_from_one_that_was_touched():
    practice = practice_on(**STUCK)
    play(practice, *SAFE, "check secondary", "wait", *SAID)
    assert "An open was called with the probes in the air." in flaws_of(practice)


def test_fingers_across_an_open_secondary_make_a_number_of_it():
    practice = practice_on(1, fault="open-secondary", complaint="no-spark", difficulty="medium")
    open_one = ("set plug lead off", "check secondary", "probes plug lead, laminations")
    assert "the meter shows over range" in play(practice, *SAFE, *open_one)
    practice = practice_on(1, fault="open-secondary", complaint="no-spark", difficulty="medium")
    with_fingers = play(practice, *SAFE, "fingers on", *open_one)
    assert "the meter shows over range" not in with_fingers
    assert re.search(r"(held|the meter shows) \d+.* kΩ", with_fingers)


def test_a_plug_lead_that_is_still_earthed_reads_short_and_is_named():
    practice = practice_on(**STUCK)
    touch = ("probes plug lead, laminations", "wait", "lift")
    play(practice, *SAFE, "check secondary", *touch, *touch)
    assert practice.ledger.outcomes["secondary-resistance"] == "short"
    assert "The plug lead was earthed." in flaws_of(practice)


def test_fingers_beside_a_good_secondary_pull_it_down_and_are_named():
    practice = practice_on(**STUCK)
    on_it = ("fingers on", "probes plug lead, laminations", "fingers off", "lift")
    play(practice, *SAFE, "set plug lead off", "check secondary", *on_it)
    assert practice.ledger.outcomes["secondary-resistance"] == "in-window"
    assert "Fingers were on the tips." in flaws_of(practice)


def test_a_range_too_low_reads_over_range_on_a_good_secondary():
    practice = practice_on(**STUCK)
    shown = play(
        practice,
        *SAFE,
        "set plug lead off",
        "range 100",
        "check secondary",
        "probes plug lead, laminations",
        *SAID,
    )
    assert "The meter is fixed on 100" in shown
    assert practice.ledger.outcomes["secondary-resistance"] == "open"
    assert "range was too low" in flaws_of(practice)


def test_a_wire_watched_without_being_moved_shows_nothing_of_its_chafe():
    practice = practice_on(**STUCK)
    play(
        practice,
        *SAFE,
        "set stop wire off",
        "check dropouts",
        "probes stop wire, stop switch terminal",
        "on",
    )
    assert "The wire was not moved while it was watched." in flaws_of(practice)


# --- the command -------------------------------------------------------------------------------

EASY = ("practice", "--plain", "--seed", "3", "--difficulty", "easy")


def test_a_whole_practice_piped_in_ends_in_a_score_and_keeps_it(tmp_path, monkeypatch, capsys):
    type_in(
        monkeypatch,
        "cautions",
        "safe",
        "air",
        "set stop switch run",
        "check spark at the test gap",
        "set stop wire off",
        "check spark with the stop",
        "tips",
        "check stop-switch",
        "probes stop wire, block",
        "set stop switch run",
        "wait",
        "on",
        "lift",
        "name stop switch: stuck",
        "set stop wire on",
        "set plug lead on",
        "check start",
        "check stop-check",
        "done",
    )
    assert main([*EASY, "--trainee", "Ann", "--trainees", str(tmp_path / "t")]) == 0
    shown = capsys.readouterr().out
    assert "Right, place and fault. It was: stop switch stuck closed" in shown
    assert "No safety step was skipped." in shown
    assert "Together " in shown
    ann = ["--trainee", "Ann", "--trainees", str(tmp_path / "t")]
    assert main(["practice", "--results", *ann]) == 0
    table = capsys.readouterr().out
    assert "Ann: 1 practised, the fault found in 1." in table
    assert "topic" in table


def test_the_record_of_a_practice_is_a_job_that_replays_to_the_same_events(
    tmp_path, monkeypatch, capsys
):
    type_in(
        monkeypatch,
        *SAFE,
        "set stop wire off",
        "check primary",
        "probes primary terminal, laminations",
        "lift",
        "done",
    )
    assert main([*EASY, "--jobs", str(tmp_path)]) == 0
    (folder,) = tmp_path.iterdir()
    (capture,) = Job(folder).captures()
    capsys.readouterr()
    assert main(["replay", str(capture), "--check", "--plain"]) == 0
    assert "each as it was recorded" in capsys.readouterr().out


def test_as_json_the_result_is_one_object_on_standard_output(monkeypatch, capsys):
    type_in(monkeypatch, "name plug", "done")
    assert main([*EASY, "--json"]) == 0
    out = capsys.readouterr().out
    result = json.loads(out)
    assert result["place"] == "stop switch"
    assert result["found"] is False
    assert result["order"]["seed"] == 3


def test_the_end_of_all_lines_ends_the_practice_with_what_there_is(monkeypatch, capsys):
    type_in(monkeypatch, "look")
    assert main([*EASY]) == 0
    assert "You named no fault." in capsys.readouterr().out


def test_the_instructors_choice_is_not_told_before_the_end(monkeypatch, capsys):
    type_in(monkeypatch, "look", "checks", "controls", "hint", "quit")
    assert main([*EASY, "--fault", "key-sheared-or-missing"]) == 0
    before, _, after = capsys.readouterr().out.partition("You named no fault.")
    assert "sheared" not in before
    assert "sheared or missing flywheel key" in after


def test_an_exercise_file_orders_the_engine(tmp_path, monkeypatch, capsys):
    file = tmp_path / "evening.toml"
    file.write_text('format = 1\ntitle = "Third evening"\nseed = 5\nfault = "poor-earth"\n')
    type_in(monkeypatch, "quit")
    assert main(["practice", "--plain", "--exercise", str(file)]) == 0
    shown = capsys.readouterr().out
    assert "Third evening" in shown
    assert "It was: poor earth" in shown


@pytest.mark.parametrize(
    ("argv", "code", "said"),
    [
        (["--fault", "nope"], 2, "there is no fault “nope”"),
        (["--complaint", "nope"], 2, "there is no complaint “nope”"),
        (["--fault", "stop-wire-broken", "--complaint", "no-spark"], 2, "never makes an engine"),
        (["--seed", "-4"], 2, "a seed of -4"),
        (["--trainee", "  "], 2, "a trainee needs a name"),
        (["--exercise", "/nowhere/to/be.toml"], 4, "cannot be read"),
        (["--exercise", "x.toml", "--seed", "3"], 2, "an exercise orders the engine"),
        (["--results", "--trainee", "Nobody"], 4, "there are no results of “Nobody”"),
    ],
)
def test_bad_input_is_one_plain_sentence_with_its_exit_code(tmp_path, capsys, argv, code, said):
    assert main(["practice", "--plain", "--trainees", str(tmp_path), *argv]) == code
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


def test_a_damaged_results_file_shows_the_rest_and_says_so(tmp_path, monkeypatch, capsys):
    type_in(monkeypatch, "quit")
    assert main([*EASY, "--trainee", "Ann", "--trainees", str(tmp_path)]) == 0
    (file,) = tmp_path.iterdir()
    with file.open("ab") as opened:
        opened.write(b"\xff damaged\n")
    capsys.readouterr()
    assert main(["practice", "--results", "--trainee", "Ann", "--trainees", str(tmp_path)]) == 4
    told = capsys.readouterr()
    assert "Ann: 1 practised" in told.out
    assert "line 5 cannot be read" in told.err
    assert told.err.count("\n") == 1


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("juggle", "There is no command “juggle”"),
        ("check zzz", "There is no check “zzz”"),
        ("probes nose, ear", "There is no place “nose”"),
        ("probes stop wire", "Name two places with a comma between"),
        ("set stop wire sideways", "There is no position “sideways”"),
        ("set", "Say which control and its position"),
        ("name moon", "There is no place “moon”"),
        ("name plug: open", "There is no fault “open”"),
        ("range many", "“many” cannot be read"),
        ("range 1 V", "The meter has no such range"),
        ("probes \x1b[2J, [/]", "There is no place “�[2j”"),
    ],
)
def test_a_line_that_makes_no_sense_is_said_and_changes_nothing(line, said):
    practice = practice_on(**STUCK)
    shown = play(practice, line)
    assert said.lower() in shown.lower()
    assert not practice.ledger.lines


def test_every_command_that_help_lists_is_taken():
    from tui.practice.words import COMMANDS

    shown = play(practice_on(**STUCK), "help", *(word.split()[0] for word in COMMANDS))
    assert "There is no command" not in shown


def test_every_fault_can_be_typed_to_its_place():
    for fault in fault_names():
        practice = practice_on(1, fault=fault, difficulty="hard")
        play(practice, f"name {practice.case.places[0]}: {fault}")
        assert score(practice.case, practice.ledger, 1.0).found
