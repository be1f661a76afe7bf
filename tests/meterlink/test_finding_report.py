"""The finding as a technician reads it: grounds, contradictions, close verdicts, advice."""

import msgspec
import pytest

from meterlink.errors import UsageError
from meterlink.finding.find import Later, find
from meterlink.finding.finding import Finding
from meterlink.finding.model import Model
from meterlink.finding.outcomes import Said, close_verdict
from meterlink.finding.search import follow, in_order
from meterlink.finding.shape import either
from meterlink.finding.table import shipped_table
from meterlink.wording import percent
from tests.meterlink.finding_tables import TWO_COINS, made


def first(found: Finding) -> str:
    return found.faults[0].fault


def test_stop_circuit_is_found_and_said():
    found = find(
        {
            "spark-at-gap": "no",
            "spark-with-stop-isolated": "yes",
            "stop-switch": "stuck-closed",
            "spark-without-stop-switch": "yes",
            "stop-wire-watch": "none",
        },
        "no-spark",
    )
    assert found.sure
    assert first(found) == "stop-switch-stuck-closed"
    assert found.sentences[0].startswith("Found: stop switch, ")
    assert any(s.startswith("Points to ") and "stuck closed" in s for s in found.sentences)
    assert any("stop check" in sentence for sentence in found.sentences)
    # Two faults at once are never ruled out by the checks of one: it says what would be next.
    assert found.sentences[-1].startswith("If the complaint is still there, something beside it")


def test_grounds_are_sorted_and_signed():
    found = find({"spark-at-gap": "no", "secondary-resistance": "open"}, "no-spark")
    assert first(found) == "open-secondary"
    for suspected in found.faults:
        bits = [ground.bits for ground in suspected.speaks_for]
        assert bits == sorted(bits, reverse=True)
        assert all(value > 0 for value in bits)
        assert all(ground.bits < 0 for ground in suspected.speaks_against)
    ground = found.faults[0].speaks_for[0]
    assert (ground.check, ground.outcome) == ("secondary-resistance", "open")
    assert ground.source == "direction from the circuit, number judged"
    plug = next(f for f in found.faults if f.fault == "plug-bad")
    assert {against.check for against in plug.speaks_against} == {
        "spark-at-gap",
        "secondary-resistance",
    }


def test_contradictory_outcomes_are_said_to_be_so():
    """A steady spark and an open primary cannot both be."""
    found = find({"spark-at-gap": "yes", "primary-resistance": "open"}, "no-spark")
    assert found.contradictory
    assert not found.sure
    assert any("contradict each other" in sentence for sentence in found.sentences)
    assert {odd.check for odd in found.odd} == {"spark-at-gap", "primary-resistance"}
    again = [proposed.check for proposed in found.next if proposed.again]
    assert set(again[:2]) == {"spark-at-gap", "primary-resistance"}


def test_three_faults_at_once_contradict_any_two():
    found = find(
        {"stop-switch": "stuck-closed", "flywheel-key": "sheared", "secondary-resistance": "open"},
        "no-spark",
    )
    assert found.contradictory
    assert any("slip" in sentence for sentence in found.sentences)


def test_two_faults_at_once_are_both_named():
    """A switch that is stuck and a secondary that is open: neither explains the other's check."""
    said = {
        "spark-at-gap": "no",
        "spark-with-stop-isolated": "no",
        "stop-switch": "stuck-closed",
        "secondary-resistance": "open",
    }
    found = find(said, "no-spark")
    assert {placed.place for placed in found.named} == {"armature", "stop switch"}
    assert not found.sure
    assert found.sentences[0].startswith("Most likely: armature, ")
    assert ", and stop switch, " in found.sentences[0]
    # One reason for each outcome, under the place for which it weighs most.
    told = [s for s in found.sentences if s.startswith(("Points to ", "Points away from "))]
    assert len(told) == len(said)
    assert any(s.startswith("Points to stop switch, strongly: the stop switch is") for s in told)
    assert any(s.startswith("Points to armature, clearly: the secondary reads open") for s in told)
    # With the lead open as well, the winding was only measured through it.
    lead = find({**said, "lead-resistance": "open"}, "no-spark")
    assert {placed.place for placed in lead.named} == {"plug lead or cap", "stop switch"}
    assert not lead.sure


def test_what_a_mended_engine_shows_tells_of_what_is_left():
    said = {
        "spark-at-gap": "no",
        "spark-with-stop-isolated": "yes",
        "stop-switch": ["stuck-closed", "stuck-closed"],
    }
    good = [Later(mended=("stop switch",), outcomes={"trial-run": "good"})]
    still = [Later(mended=("stop switch",), outcomes={"trial-run": "fault", "spark-at-gap": "yes"})]
    assert find(said, "no-spark", later=good).more < 0.05 < find(said, "no-spark").more
    found = find(said, "no-spark", later=still)
    assert found.more > 0.5
    assert found.mended == ("stop switch",)
    with pytest.raises(UsageError, match="there is no place “stop swich”; did you mean"):
        find(said, "no-spark", later=[Later(mended=("stop swich",), outcomes={})])


def test_a_trial_run_is_only_proposed_after_a_mend():
    assert "trial-run" not in {p.check for p in find({"spark-at-gap": "no"}, "no-spark").next}
    later = [Later(mended=("armature",), outcomes={})]
    found = find({"spark-at-gap": "no"}, "no-spark", later=later)
    assert "trial-run" in {proposed.check for proposed in found.next}


def test_the_finding_says_how_firm_it_is():
    firm = find({"spark-at-gap": "no", "flywheel-key": ["sheared", "sheared"]}, "no-spark", draws=8)
    assert firm.firm is not None
    assert firm.firm.draws == 8
    said = {"spark-at-gap": "no", "spark-with-stop-isolated": "yes"}
    loose = find(said, "no-spark", draws=8)
    assert loose.firm is not None
    assert loose.firm.kept < 0.8
    # Beside what is named; that of the next check before it.
    assert firm.sentences[1] == firm.firm.say
    assert "Toss-up: " in loose.sentences[1]
    assert loose.firm_next is not None
    if loose.firm_next.say:
        at = loose.sentences.index(loose.firm_next.say)
        assert loose.sentences[at + 1].startswith(("Next best check", "Worth repeating"))
    assert find(said, "no-spark", draws=8) == loose


def test_jobs_of_the_shop_count_beside_what_is_judged():
    """Forty counted jobs weigh as much as the judged shares: so the plug comes to half and more."""
    judged = {f.fault: f.prior for f in find({}, "no-spark").faults}
    counted = find({}, "no-spark", counts={"plug-bad": 40})
    shares = {f.fault: f.prior for f in counted.faults}
    assert counted.counted == 40
    assert shares["plug-bad"] > 0.5 > judged["plug-bad"]
    assert "Counted in: 40 jobs of the workshop." in counted.sentences
    assert find({}, "no-spark").counted == 0


@pytest.mark.parametrize(
    "said",
    [
        {},
        {"spark-at-gap": "no"},
        {"spark-at-gap": "no", "primary-resistance": "open", "secondary-resistance": "open"},
        {"spark-at-gap": "yes", "flywheel-key": "sheared"},
        {"plug-condition": "cracked", "spark-at-gap": "yes"},
    ],
)
def test_what_one_fault_explains_is_no_contradiction(said):
    assert not find(said, "no-spark").contradictory


def test_a_close_verdict_moves_less_than_a_clear_one():
    clear = find({"spark-at-gap": "yes", "primary-resistance": "open"}, "no-spark")
    close = find(
        {"spark-at-gap": "yes", "primary-resistance": close_verdict("open", 0.6)}, "no-spark"
    )
    assert clear.contradictory

    def open_primary(found):
        return next(f.probability for f in found.faults if f.fault == "open-primary")

    nothing = find({"spark-at-gap": "yes"}, "no-spark")
    assert open_primary(nothing) < open_primary(close) < open_primary(clear)


def test_a_certain_distribution_is_the_same_as_the_outcome_itself():
    hard = find({"primary-resistance": "above"}, "no-spark")
    soft = find({"primary-resistance": {"above": 1.0}}, "no-spark")
    assert [f.probability for f in soft.faults] == pytest.approx(
        [f.probability for f in hard.faults]
    )


@pytest.mark.parametrize(
    ("stated", "towards", "expected"),
    [
        ("in-window", None, {"in-window": 0.8, "below": 0.1, "above": 0.1}),
        ("in-window", "above", {"in-window": 0.8, "above": 0.2}),
        ("open", None, {"open": 0.8, "above": 0.2}),
        ("short", None, {"short": 0.8, "below": 0.2}),
    ],
)
def test_a_close_verdict_leaves_its_rest_to_the_neighbours(stated, towards, expected):
    assert close_verdict(stated, 0.8, towards) == pytest.approx(expected)


def test_words_of_verdicts_are_read_as_outcomes():
    """Good insulation reads over range; a close reading of it is taken apart the same way."""
    by_verdict = find({"insulation": "open", "earth-path": "in-window"}, "no-spark")
    by_name = find({"insulation": "passed", "earth-path": "good"}, "no-spark")
    assert by_verdict == by_name
    close = find({"insulation": close_verdict("below", 0.7)}, "no-spark")
    soft = find({"insulation": {"leaks": 0.85, "passed": 0.15}}, "no-spark")
    assert close.faults[0].probability == pytest.approx(soft.faults[0].probability)


@pytest.mark.parametrize("word", ["skipped", "cannot-tell"])
def test_what_says_nothing_is_left_out_and_not_proposed_again(word):
    found = find({"primary-resistance": word}, "no-spark")
    assert found.unsaid == ("primary-resistance",)
    assert [f.probability for f in found.faults] == [
        f.probability for f in find({}, "no-spark").faults
    ]
    assert "primary-resistance" not in [proposed.check for proposed in found.next]


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"spark-at-gp": "no"}, "there is no check “spark-at-gp”; did you mean “spark-at-gap”?"),
        (
            {"spark-at-gap": "weak"},
            "check “spark-at-gap”: there is no outcome “weak”; there is yes, no",
        ),
        ({"spark-at-gap": {"yes": -0.1, "no": 1.1}}, "a probability of -0.1 for “yes” makes no"),
        ({"spark-at-gap": {"yes": float("nan")}}, "a probability of nan for “yes” makes no"),
        ({"spark-at-gap": {"yes": 0.0}}, "no outcome has a probability above 0"),
        ({"spark-at-gap": {}}, "no outcome has a probability above 0"),
        ({"spark-at-gap": {"yess": 1.0}}, "there is no outcome “yess”; did you mean “yes”?"),
    ],
)
def test_outcomes_that_make_no_sense_are_plain_errors(said, sentence):
    with pytest.raises(UsageError) as caught:
        find(said, "no-spark")
    assert sentence in str(caught.value)


def test_close_verdict_refuses_what_makes_no_sense():
    with pytest.raises(UsageError, match="there is no verdict “hot”"):
        close_verdict("hot", 0.5)
    with pytest.raises(UsageError, match=r"probability of 1\.5"):
        close_verdict("open", 1.5)


# --- advice -------------------------------------------------------------------------------------


def test_the_no_spark_job_begins_with_the_spark_and_then_the_stop_circuit():
    """Common practice, no published source: spark first, then the same without the stop wire."""
    assert find({}, "no-spark").next[0].check == "spark-at-gap"
    second = find({"spark-at-gap": "no"}, "no-spark").next[0]
    assert second.check == "spark-with-stop-isolated"
    assert "do not start it" in second.caution


def test_setups_already_done_cost_nothing_again():
    before = {p.check: p.minutes for p in find({}, "no-spark").next}
    after = {p.check: p.minutes for p in find({"primary-resistance": "in-window"}, "no-spark").next}
    strip = shipped_table().setups["strip"].minutes
    assert before["secondary-resistance"] - after["secondary-resistance"] == strip
    assert before["earth-path"] == after["earth-path"]


def test_parts_count_as_minutes():
    proposed = {p.check: p for p in find({"spark-at-gap": "no"}, "no-spark").next}
    swap = proposed["substitution-module"]
    cost = swap.minutes + swap.parts / shipped_table().minute_cost
    assert swap.rate == pytest.approx(swap.bits / cost)
    assert swap.parts > 0


def test_checks_that_close_a_job_are_evidence_and_never_proposed():
    proposed = {p.check for p in find({}, "wont-stop").next}
    assert not proposed & {"spark-again", "start", "stop-check"}
    before = find({}, "no-spark").faults
    again = find({"spark-at-gap": "no", "spark-again": "yes"}, "no-spark")
    once = find({"spark-at-gap": "no"}, "no-spark")

    def of(found, name):
        return next(f.probability for f in found.faults if f.fault == name)

    assert before
    assert of(again, "wrong-air-gap") > of(once, "wrong-air-gap")
    assert of(again, "open-primary") < of(once, "open-primary")


def test_advice_is_about_what_gets_mended():
    """With the armature as good as found, which of its windings it is earns no further check."""
    found = find(
        {
            "spark-at-gap": "no",
            "spark-with-stop-isolated": "no",
            "substitution-module": "yes",
            "air-gap": "in-window",
            "lead-resistance": "in-window",
            "earth-path": "good",
        },
        "no-spark",
    )
    assert found.sure
    assert found.places[0].place == "armature"
    assert found.faults[0].probability < 0.5
    assert found.sentences[0].startswith("Found: armature, ")


def test_following_the_advice_finds_what_a_fixed_order_finds_in_fewer_checks():
    model = Model(shipped_table(), "no-spark")
    engine = {
        "spark-at-gap": "no",
        "spark-with-stop-isolated": "yes",
        "stop-switch": "stuck-closed",
        "stop-wire-watch": "none",
    }

    def answer(check):
        return engine.get(check) or next(iter(model.nodes[check].outcomes))

    def sound(check):
        good = {"primary-resistance", "secondary-resistance", "lead-resistance", "air-gap"}
        return "in-window" if check in good else answer(check)

    walk = follow(model, sound)
    assert walk.sure
    assert walk.place == "stop switch"
    assert walk.fault == "stop-switch-stuck-closed"
    assert walk.checks[:2] == ("spark-at-gap", "spark-with-stop-isolated")
    fixed = follow(model, sound, in_order("plug-condition", "primary-resistance", *engine))
    assert fixed.place == walk.place
    assert len(walk.checks) < len(fixed.checks)
    assert walk.minutes < fixed.minutes


def test_a_trial_run_that_came_out_well_by_chance_is_doubted_at_the_spark():
    """A poor earth comes and goes: the armature was renewed for it, and one trial run went well."""
    model = Model(shipped_table(), "dies-hot", ["stop-switch"])
    shows = {
        "spark-at-gap": "no",
        "spark-with-stop-isolated": "no",
        "spark-with-good-lead": "no",
        "stop-wire-watch": "none",
        "earth-path": "good",
        "trial-run": "good",
    }
    mends: list[str] = []
    walk = follow(model, lambda check: shows.get(check, "cannot-tell"), mend=mends.append)
    assert mends[0] == "armature"
    checks = list(walk.checks)
    assert "spark-at-gap" in checks[checks.index("trial-run") :]


def test_the_finding_says_what_reads_like_a_stuck_switch():
    found = find(
        {
            "spark-at-gap": "no",
            "spark-with-stop-isolated": "no",
            "stop-switch": "stuck-closed",
            "secondary-resistance": "open",
        },
        "no-spark",
        parts=["stop-switch"],
    )
    assert [placed.place for placed in found.named] == ["armature", "stop switch"]
    assert any("measure again at the switch itself" in said for said in found.sentences)


def test_a_walk_ends_where_every_check_is_skipped():
    model = Model(shipped_table(), "no-spark")
    walk = follow(model, lambda check: "skipped")
    assert not walk.sure
    assert len(walk.checks) == len(set(walk.checks)) > 5


def test_the_finding_goes_to_json_and_back():
    found = find({"spark-at-gap": "no", "brake-switch": "passed"}, "no-spark")
    assert msgspec.json.decode(msgspec.json.encode(found), type=Finding) == found


def test_probabilities_are_never_said_as_certain():
    assert [percent(p) for p in (0.0, 0.004, 0.5, 0.99, 0.9999)] == [
        "under 1 %",
        "under 1 %",
        "50 %",
        "99 %",
        "over 99 %",
    ]


def test_where_no_check_is_left_it_says_so():
    found = find({"toss": "tails"}, "dead", table=made(TWO_COINS))
    assert found.next == ()
    assert not found.sure
    assert found.sentences[-1].startswith("No check that is left would tell more")


def test_outcomes_of_a_sound_circuit_are_no_finding():
    outcomes = {"primary-resistance": "in-window", "stop-switch": "passed"}
    found = find(outcomes, "no-spark")
    assert found.clean
    assert found.sentences[0] == "No check found a fault."
    assert "no spark" in found.sentences[1]
    assert not find(outcomes | {"spark-at-gap": "no"}, "no-spark").clean
    assert not find(outcomes | {"secondary-resistance": "open"}, "no-spark").clean


@pytest.mark.parametrize(
    ("clauses", "told"),
    [
        (["the key is whole"], "the key is whole"),
        (
            ["the primary reads above its limits", "the primary reads short"],
            "the primary reads above its limits or short",
        ),
        (
            ["the gap is within its limits", "the gap is too wide", "the gap is too narrow"],
            "the gap is within its limits, too wide or too narrow",
        ),
        (["a spark jumps", "no spark jumps"], "a spark jumps or no spark jumps"),
        (["the key is", "the key is sheared"], "the key is or is sheared"),
    ],
)
def test_what_outcomes_begin_with_alike_is_said_once(clauses, told):
    assert either(clauses) == told


def test_an_open_that_is_only_said_weighs_as_a_statement_and_is_named_as_one():
    measured = find({"secondary-resistance": "open"}, "no-spark")
    said = find({"secondary-resistance": Said("open")}, "no-spark")
    nothing = find({}, "no-spark")
    place = measured.places[0].place
    share = {
        name: next(p.probability for p in found.places if p.place == place)
        for name, found in {"measured": measured, "said": said, "nothing": nothing}.items()
    }
    assert share["nothing"] < share["said"] < share["measured"]
    # Bayes' rule by hand: a statement that errs one time in ten is worth ten to one at most.
    assert share["said"] / (1 - share["said"]) <= 10 * share["nothing"] / (1 - share["nothing"])
    assert said.said == ("secondary-resistance",)
    assert any("said, not measured" in sentence for sentence in said.sentences)
    assert all(speaks.said for fault in said.faults for speaks in fault.speaks_for)
    assert not measured.said


def test_a_statement_that_is_measured_afterwards_is_no_mere_word_any_more():
    proved = find({"secondary-resistance": [Said("open"), "open"]}, "no-spark")
    measured = find({"secondary-resistance": "open"}, "no-spark")
    assert not proved.said
    assert not any(speaks.said for fault in proved.faults for speaks in fault.speaks_for)
    assert proved.places[0].place == measured.places[0].place
    assert proved.places[0].probability > measured.places[0].probability
    later = find({}, "no-spark", later=[Later(mended=("plug",), outcomes={"start": Said("no")})])
    assert later.said == ("trial-run",)


def test_how_firm_a_finding_is_asks_for_no_check_that_was_skipped():
    seen = {"spark-at-gap": "no"}
    best = find(seen, "no-spark").next[0].check
    found = find({**seen, best: "skipped"}, "no-spark", draws=8)
    assert found.firm_next is not None
    assert best not in (found.next[0].check, found.firm_next.rival)


def test_three_statements_without_a_measurement_find_nothing_for_sure():
    said = find(
        {
            "primary-resistance": Said("open"),
            "secondary-resistance": Said("open"),
            "stop-switch": Said("never-closes"),
        },
        "no-spark",
    )
    assert not said.sure
    assert said.sentences[0].startswith(("Most likely", "Not settled"))
