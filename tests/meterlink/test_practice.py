"""Practice without a meter: cases by seed, rules, slips at the probes, and a score that holds."""

from functools import cache
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.circuit.engine import EngineCondition
from meterlink.circuit.wiring import resistance_between
from meterlink.errors import UsageError
from meterlink.finding.search import follow, once
from meterlink.training.case import DIFFICULTIES, Case, Order, draw, fault_names, read_exercise
from meterlink.training.ledger import Safety, Topic, mend_of
from meterlink.training.measurements import Touch, flaws_in
from meterlink.training.practice import Practice
from meterlink.training.score import TOTAL, score, sentences
from tests.meterlink.circuit_patients import demo_profile

BASE = demo_profile()
EXPECTED = 8.0
"""Checks to be expected; the score only says it."""


@cache
def case_of(seed: int, **order: str) -> Case:
    return draw(Order(seed=seed, **order), BASE)


def careful(case: Case) -> Practice:
    """Follow the advice to its end, safely, with outcomes as careful probing gives them."""
    practice = Practice(case)
    for step in Safety:
        practice.secure(step)

    def answer(check: str) -> str:
        practice.begin(check)
        outcome = practice._workshop.answer(check)
        steps = practice.steps_of(check)
        if not steps:
            put_right_for(practice, check)
            return practice.answer(check)
        for step in steps:
            practice.ended(step, outcome)
        return practice.ledger.outcomes[check]

    walk = follow(case.model, answer, once)
    practice.name(walk.place, walk.fault if walk.fault in practice.faults_at(walk.place) else "")
    prove(practice)
    return practice


def put_right_for(practice: Practice, check: str) -> None:
    for control, position in practice.wanted(check).items():
        practice.put(control, position)


def prove(practice: Practice) -> None:
    put_right_for(practice, "spark-at-gap")
    practice.put("plug lead", "on")
    practice.begin("stop-check")
    practice.answer("stop-check")
    practice.sign_off()


def swapper(case: Case, order: list[str]) -> Practice:
    """Renew part after part until it is cured, safely, and name what cured it."""
    practice = Practice(case)
    for step in Safety:
        practice.secure(step)
    last = order[0]
    for place in order:
        practice.renew(place)
        last = place
        if practice.patient.ailing == case.patient.sound:
            break
    practice.name(last)
    prove(practice)
    return practice


def points(practice: Practice) -> float:
    return score(practice.case, practice.ledger, EXPECTED).points


# --- cases ------------------------------------------------------------------------------------


@pytest.mark.parametrize("fault", fault_names())
def test_every_fault_of_the_table_can_be_ordered_and_is_hidden_in_the_engine(fault):
    case = case_of(5, fault=fault)
    assert case.patient.fault == fault
    assert case.patient.ailing != case.patient.sound
    assert case.places[0] in case.model.places


@given(st.integers(0, 10**6), st.sampled_from(DIFFICULTIES))
@settings(max_examples=25, deadline=None)
def test_the_same_order_gives_the_same_case(seed, difficulty):
    one, other = (case_of(seed, difficulty=difficulty) for _ in range(2))
    assert one.patient == other.patient
    assert one.walk == other.walk
    assert one.range == other.range


def test_harder_engines_take_the_advice_more_checks():
    taken = [
        sum(len(case_of(seed, difficulty=difficulty).walk.checks) for seed in range(8))
        for difficulty in DIFFICULTIES
    ]
    assert taken[0] < taken[1] < taken[2]


@pytest.mark.parametrize(
    ("order", "said"),
    [
        ({"fault": "nope"}, "there is no fault “nope”; there is open-primary"),
        ({"fault": "\x1b[31m"}, "there is no fault “�[31m”"),
        ({"complaint": "rattles"}, "there is no complaint “rattles”; there is no-spark"),
        (
            {"fault": "stop-wire-broken", "complaint": "no-spark"},
            "the fault “stop-wire-broken” never makes an engine come in with “no-spark”; it goes "
            "with wont-stop",
        ),
        (
            {"fault": "open-primary+shorted-primary"},
            "no engine comes in with “open-primary+shorted-primary”; give one fault, or two",
        ),
        (
            {"fault": "stop-wire-broken+open-primary"},
            "no engine comes in with “stop-wire-broken+open-primary”; give one fault, or two",
        ),
        (
            {"fault": "open-primary+plug-bad+poor-earth"},
            "no engine comes in with “open-primary+plug-bad+poor-earth”; give one fault, or two",
        ),
    ],
)
def test_an_order_that_cannot_be_is_one_plain_sentence(order, said):
    with pytest.raises(UsageError) as caught:
        case_of(1, **order)
    assert str(caught.value).startswith(said)
    assert "\n" not in str(caught.value)


# --- rules ------------------------------------------------------------------------------------


def test_two_faults_can_be_ordered_and_both_have_to_be_named():
    case = case_of(3, fault="bad-lead-or-cap+stop-switch-stuck-closed", complaint="no-spark")
    assert set(case.places) == {"plug lead or cap", "stop switch"}
    half = careful(case)
    judged = score(case, half.ledger, EXPECTED)
    assert not judged.found
    assert judged.place == "plug lead or cap and stop switch"
    assert any("the other was not named" in say for say in judged.items[0].say)
    whole = Practice(case)
    for step in Safety:
        whole.secure(step)
    for place in case.places:
        assert whole.patient.ailing != case.patient.sound
        whole.name(place)
    assert whole.patient.ailing == case.patient.sound
    prove(whole)
    assert score(case, whole.ledger, EXPECTED).found


def test_a_spark_trial_takes_no_care_of_switches_left_at_stop():
    practice = Practice(case_of(1, fault="plug-bad", complaint="no-spark"))
    practice.begin("spark-at-gap")
    assert practice.answer("spark-at-gap") == "no"
    practice.put("stop switch", "run")
    put_right_for(practice, "spark-at-gap")
    practice.begin("spark-at-gap")
    assert practice.answer("spark-at-gap") == "yes"
    told = " ".join(sentences(score(practice.case, practice.ledger, EXPECTED)))
    assert "stop switch stood in “stop”" in told.lower()
    assert "repeated one" in told


def test_a_clip_lead_left_on_is_a_slip_and_off_it_comes_before_the_engine_runs():
    practice = Practice(case_of(1, fault="plug-bad", complaint="no-spark"))
    put_right_for(practice, "spark-at-gap")
    practice.put("clip lead", "terminal to laminations")
    practice.begin("spark-at-gap")
    assert practice.answer("spark-at-gap") == "no"
    told = " ".join(sentences(score(practice.case, practice.ledger, EXPECTED)))
    assert "The clip lead was on, from terminal to laminations." in told
    before = list(practice.ledger.lines)
    with pytest.raises(UsageError, match=r"cannot run like this; first set clip lead off$"):
        practice.begin("stop-check")
    assert practice.ledger.lines == before


def test_the_engine_does_not_run_before_its_plug_lead_is_back_on():
    practice = Practice(case_of(1, fault="plug-bad", complaint="no-spark"))
    practice.secure(Safety.MADE_SAFE)
    practice.put("cap", "off")
    for check in ("start", "stop-check"):
        with pytest.raises(UsageError, match=r"first set cap on; set plug lead on$"):
            practice.begin(check)
    practice.put("cap", "on")
    practice.put("plug lead", "on")
    practice.begin("start")
    # What was made safe once is made safe again at no cost, and the lead is off once more.
    minutes = practice.ledger.minutes
    practice.secure(Safety.MADE_SAFE)
    assert practice.condition.controls["plug lead"] == "earthed"
    assert practice.ledger.minutes == minutes


def test_a_spark_trial_that_was_done_well_counts_beside_one_that_was_not():
    practice = Practice(case_of(1, fault="plug-bad", complaint="no-spark"))
    for wire in ("off", "on"):
        put_right_for(practice, "spark-at-gap")
        practice.put("stop wire", wire)
        practice.begin("spark-at-gap")
        practice.answer("spark-at-gap")
    scored = score(practice.case, practice.ledger, EXPECTED)
    (contact,) = (item for item in scored.items if item.title == "Contact")
    assert contact.points == contact.of / 2
    assert contact.say[0].startswith("Of 2 values and spark trials, 1 was not taken well")
    stop_wire = scored.topics[Topic.STOP_WIRE.value]
    assert (stop_wire.practised, stop_wire.missed) == (2, 1)


@pytest.mark.parametrize("clipped", ["off", "terminal to laminations"])
def test_only_a_terminal_that_is_earthed_tells_a_dead_one(clipped):
    practice = Practice(case_of(1, fault="stop-wire-broken", complaint="wont-stop"))
    put_right_for(practice, "spark-with-terminal-earthed")
    practice.put("clip lead", clipped)
    practice.begin("spark-with-terminal-earthed")
    outcome = practice.answer("spark-with-terminal-earthed")
    flaws = practice.ledger.lines[-1].flaws
    assert (outcome, len(flaws)) == (("yes", 1) if clipped == "off" else ("no", 0))


def test_a_trial_with_a_switch_unplugged_wants_all_the_others_joined():
    case = case_of(2, fault="brake-switch-stuck-closed", difficulty="medium")
    practice = Practice(case)
    put_right_for(practice, "spark-without-brake-switch")
    practice.begin("spark-without-brake-switch")
    assert practice.answer("spark-without-brake-switch") == "yes"
    assert not practice.ledger.lines[-1].flaws
    practice.put("brake switch connector", "on")
    practice.put("stop switch connector", "off")
    practice.begin("spark-without-brake-switch")
    assert practice.answer("spark-without-brake-switch") == "no"
    assert {flaw.topic for flaw in practice.ledger.lines[-1].flaws} == {Topic.CONNECTORS}


def test_work_that_opens_the_way_is_counted_once():
    practice = Practice(case_of(1))
    table = practice.case.model.table
    practice.begin("primary-resistance")
    practice.begin("secondary-resistance")
    shroud = table.setups["strip"].minutes
    two = table.checks["primary-resistance"].minutes + table.checks["secondary-resistance"].minutes
    assert practice.ledger.minutes == pytest.approx(shroud + two)


def test_a_stop_check_with_the_stop_wire_off_runs_on():
    practice = Practice(case_of(1, fault="plug-bad", complaint="no-spark"))
    practice.name("plug")
    practice.put("stop wire", "off")
    practice.begin("stop-check")
    assert practice.answer("stop-check") == "runs-on"
    missed = score(practice.case, practice.ledger, EXPECTED).topics
    assert missed[Topic.WIRE_BACK.value].missed == 1
    assert missed[Topic.STOP_CHECK.value].missed == 1


def test_a_switch_that_is_unplugged_is_out_of_the_stop_circuit():
    engine = Practice(case_of(1, difficulty="easy")).patient.sound
    lies = EngineCondition().move("stop wire", "off", engine)
    whole = resistance_between(engine, lies, "stop wire", "block")
    # Worked by hand: wire 0.08, contacts 0.06 and earth 0.03 ohm in series.
    assert whole == pytest.approx(0.08 + 0.06 + 0.03)
    apart = lies.move("stop switch connector", "off", engine)
    assert resistance_between(engine, apart, "stop wire", "block") == inf


GOOD = Touch(
    red="primary terminal", black="laminations", controls={"stop wire": "off", "plug lead": "off"}
)


@pytest.mark.parametrize(
    ("changes", "topic"),
    [
        ({"black": "painted laminations"}, Topic.BARE_METAL),
        ({"black": "rusty laminations"}, Topic.BARE_METAL),
        ({"black": "block"}, Topic.PLACES),
        ({"red": "other tip", "black": "other tip"}, Topic.PLACES),
        ({"red": "air", "black": "air", "said": True}, Topic.TOUCHING),
        ({"controls": {}}, Topic.STOP_WIRE),
        ({"range": 0.5}, Topic.RANGE),
        ({"range": 2e6, "resolution": 1e3}, Topic.RANGE),
        ({"zeroed": False}, Topic.LEAD_ZERO),
    ],
)
def test_each_slip_at_the_primary_is_seen_and_named(changes, topic):
    practice = Practice(case_of(1))
    slip = {f: getattr(GOOD, f) for f in GOOD.__struct_fields__} | changes
    found = flaws_in(Touch(**slip), practice.steps["primary"], practice.engine)
    assert topic in {flaw.topic for flaw in found}
    assert not flaws_in(GOOD, practice.steps["primary"], practice.engine)


def test_tips_may_be_swapped_and_fingers_matter_only_where_they_show():
    practice = Practice(case_of(1))
    swapped = Touch(red=GOOD.black, black=GOOD.red, controls=GOOD.controls, fingers=True)
    assert not flaws_in(swapped, practice.steps["primary"], practice.engine)
    secondary = Touch(red="plug lead", black="laminations", controls=GOOD.controls, fingers=True)
    (flaw,) = flaws_in(secondary, practice.steps["secondary"], practice.engine)
    assert flaw.topic is Topic.FINGERS


def test_a_touch_on_an_unplugged_wire_wants_the_other_switches_unplugged():
    case = case_of(2, fault="brake-switch-stuck-closed", difficulty="medium")
    practice = Practice(case)
    touch = Touch(red="stop wire", black="block", controls={"stop wire": "off"})
    (flaw,) = flaws_in(touch, practice.steps["brake-switch"], practice.engine)
    assert flaw.topic is Topic.CONNECTORS


# --- the score --------------------------------------------------------------------------------

seeds = st.integers(0, 60)
hardness = st.sampled_from(DIFFICULTIES)


@given(seeds, hardness)
@settings(max_examples=50, deadline=None)
def test_following_the_advice_loses_nothing_but_what_the_advice_itself_gets_wrong(seed, difficulty):
    practice = careful(case_of(seed, difficulty=difficulty))
    scored = score(practice.case, practice.ledger, EXPECTED)
    by_title = {item.title: item for item in scored.items}
    for title in ("Contact", "Checks", "Time"):
        assert by_title[title].points == pytest.approx(by_title[title].of)
    assert scored.points >= (TOTAL - 4 if scored.found else 70)
    assert scored.checks == len(practice.case.walk.checks)


@given(seeds, hardness, st.randoms(use_true_random=False))
@settings(max_examples=50, deadline=None)
def test_following_the_advice_never_scores_worse_than_needless_swapping(seed, difficulty, random):
    case = case_of(seed, difficulty=difficulty)
    good = [p for p in case.model.places if p not in case.places and mend_of(p).parts > 0]
    first = random.choice(good)
    rest = [place for place in case.model.places if place != first]
    random.shuffle(rest)
    swapped, advised = swapper(case, [first, *rest]), careful(case)
    assert points(advised) >= points(swapped)
    if score(case, advised.ledger, EXPECTED).found:
        assert points(advised) > points(swapped) + 15


@given(seeds, hardness, st.integers(0, 20))
@settings(max_examples=50, deadline=None)
def test_one_more_good_part_renewed_never_adds_a_point(seed, difficulty, at):
    practice = careful(case_of(seed, difficulty=difficulty))
    before = points(practice)
    case, lines = practice.case, practice.ledger.lines
    other = Practice(case)
    good = [p for p in case.model.places if p not in case.places and mend_of(p).parts > 0]
    other.renew(good[seed % len(good)])
    lines.insert(min(at, len(practice.ledger.search.lines)), other.ledger.lines[-1])
    assert points(practice) < before or before == 0


@given(seeds, hardness)
@settings(max_examples=25, deadline=None)
def test_each_skipped_safety_step_costs_and_is_said(seed, difficulty):
    practice = careful(case_of(seed, difficulty=difficulty))
    before = points(practice)
    unsafe = Practice(practice.case)
    check = practice.ledger.checks[0]
    unsafe.begin(check)
    for i, line in enumerate(practice.ledger.lines):
        if getattr(line, "check", "") == check:
            practice.ledger.lines[i] = next(
                entry for entry in unsafe.ledger.lines if getattr(entry, "check", "") == check
            )
            break
    scored = score(practice.case, practice.ledger, EXPECTED)
    assert scored.points < before
    safety = next(item for item in scored.items if item.title == "Safety")
    assert any("cautions" in said for said in safety.say)


def test_no_item_stands_without_a_sentence_and_all_add_up():
    practice = careful(case_of(3))
    scored = score(practice.case, practice.ledger, EXPECTED)
    assert sum(item.of for item in scored.items) == TOTAL
    for item in scored.items:
        assert 0 <= item.points <= item.of
        assert item.say
        assert all(said.endswith(".") for said in item.say)
    told = list(sentences(scored))
    assert told[-1].startswith(f"Together {scored.points:.0f} of {TOTAL:.0f}")


def test_a_guess_without_a_check_is_worth_little_beside_the_same_name_with_reason():
    case = case_of(4, difficulty="medium")
    guess = Practice(case)
    for step in Safety:
        guess.secure(step)
    guess.name(case.places[0], case.patient.fault)
    prove(guess)
    checks = next(
        item for item in score(case, guess.ledger, EXPECTED).items if item.title == "Checks"
    )
    assert checks.points < checks.of / 2
    assert "what you had seen made it" in " ".join(checks.say)


def test_who_names_no_fault_is_told_what_it_was():
    practice = Practice(case_of(1, fault="plug-bad", complaint="no-spark"))
    told = " ".join(sentences(score(practice.case, practice.ledger, EXPECTED)))
    assert "You named no fault. It was: fouled or cracked plug (plug)." in told


def test_a_check_that_misled_is_set_beside_what_care_shows():
    practice = Practice(case_of(1, fault="plug-bad", complaint="no-spark"))
    practice.begin("primary-resistance")
    practice.touched("primary", Touch(red="primary terminal", black="laminations", zeroed=True))
    practice.ended("primary", "short")
    practice.name("armature", "shorted-primary")
    told = " ".join(sentences(score(practice.case, practice.ledger, EXPECTED)))
    assert "you got “short”; done with care it shows “within limits”" in told
    assert "The stop wire was on its tab." in told
    assert "Renewed for nothing, as it was good: armature, 60 in parts." in told


# --- exercises --------------------------------------------------------------------------------


def test_an_exercise_orders_the_case_that_its_file_says():
    data = b'format = 1\ntitle = "Third evening"\nseed = 9\nfault = "poor-earth"\n'
    exercise = read_exercise(data, "third.toml")
    assert exercise.order == Order(seed=9, fault="poor-earth")
    assert draw(exercise.order, BASE).patient.fault == "poor-earth"


@pytest.mark.parametrize(
    "data",
    [
        b"format = 2\n",
        b"format = 1\nseed = -1\n",
        b'format = 1\nfault = "nope"\n',
        b'format = 1\nrun = "something"\n',
        b"\xff\xfe",
        b"format = 1\ndifficulty = 'wicked'\n",
    ],
)
def test_an_exercise_that_makes_no_sense_names_its_file(data):
    with pytest.raises(Exception, match=r"evil\.toml") as caught:
        read_exercise(data, "evil.toml")
    assert caught.value.exit_code == 1
    assert "\n" not in str(caught.value)


def test_to_do_nothing_but_guess_wrong_is_unsafe_and_earns_hardly_anything():
    practice = Practice(case_of(1, fault="poor-earth", complaint="no-spark"))
    practice.name("plug")
    scored = score(practice.case, practice.ledger, EXPECTED)
    by_title = {item.title: item for item in scored.items}
    assert by_title["The fault"].points == 0
    assert "before the cautions were read" in " ".join(by_title["Safety"].say)
    assert by_title["Checks"].points + by_title["Time"].points < 5


def test_an_engine_given_back_untouched_is_worth_no_parts_no_contact_and_no_time():
    practice = Practice(case_of(7))
    worth = {
        item.title: item.points for item in score(practice.case, practice.ledger, EXPECTED).items
    }
    assert [worth[title] for title in ("The fault", "Parts", "Checks", "Contact", "Time")] == [
        0
    ] * 5


def test_a_name_that_rests_on_nothing_is_a_guess_however_right_it_is():
    case = case_of(4, difficulty="medium")
    guess = Practice(case)
    guess.name(case.places[0], case.patient.fault)
    by_title = {item.title: item for item in score(case, guess.ledger, EXPECTED).items}
    fault, contact = by_title["The fault"], by_title["Contact"]
    assert fault.points == fault.of / 2
    assert fault.say[0].startswith("Right, and a guess")
    assert contact.points < contact.of / 4
    reasoned = score(case, careful(case).ledger, EXPECTED)
    assert next(item for item in reasoned.items if item.title == "The fault").points == fault.of
