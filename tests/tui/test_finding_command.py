"""``meterlink finding``: from a job's log to its finding, and fault tables shown and checked."""

import json
from importlib import resources

import pytest

from captures.job.store import JobStore
from meterlink.card import read_card
from meterlink.declared import to_plain
from meterlink.events import CardBegan, Judged, StepEnded, StepReopened, Verdict
from meterlink.finding.find import find
from meterlink.finding.outcomes import close_verdict
from meterlink.finding.table import shipped_table
from tui.cli import main
from tui.settings import CARDS

CARD = b"""
format = 1
id = "club-no-spark"
title = "Pump set without a spark"
complaint = "no-spark"
[[step]]
kind = "caution"
id = "cautions"
title = "Cautions"
[[step]]
kind = "confirmation"
id = "spark"
title = "Spark at a test gap"
check = "spark-at-gap"
[[step]]
kind = "confirmation"
id = "isolated"
title = "Spark without the stop wire"
check = "spark-with-stop-isolated"
only_if = [{ step = "spark", was = ["no"] }]
[[step]]
kind = "measurement"
id = "secondary"
title = "Secondary"
winding = "secondary"
check = "secondary-resistance"
[[step]]
kind = "switch-check"
id = "brake"
title = "Flywheel brake switch"
switch = "brake"
check = "brake-switch"
"""


def ended(step, outcome, t=1.0):
    return StepEnded(t=t, step=step, outcome=outcome)


def judged(step, verdict, probability):
    return Judged(
        t=1.0,
        step=step,
        contact_t=0.5,
        value=9000.0,
        corrected=9000.0,
        u=200.0,
        verdict=verdict,
        probability=probability,
        clear=probability >= 0.95,
    )


@pytest.fixture
def job(tmp_path):
    """Writes a job with these events into a folder, and returns how to ask for its finding."""
    card = read_card(CARD, "club-no-spark.toml")

    def write(*events):
        store = JobStore(tmp_path / "jobs")
        with store.create("pump 7", settings={"card": to_plain(card)}) as writer:
            writer.log.append(CardBegan(t=0.0, card=card.id, profile="pump-set"))
            for event in events:
                writer.log.append(event)
            name = writer.job.name
        return ["finding", name, "--jobs", str(tmp_path / "jobs")]

    return write


def shares(text):
    return {f["fault"]: f["probability"] for f in json.loads(text)["faults"]}


def test_a_job_is_found_as_its_outcomes_say(job, capsys):
    asked = job(ended("cautions", "acknowledged"), ended("spark", "no"), ended("isolated", "yes"))
    assert main([*asked, "--json"]) == 0
    said = {"spark-at-gap": "no", "spark-with-stop-isolated": "yes"}
    expected = find(said, "no-spark", parts=["brake-switch"])
    assert shares(capsys.readouterr().out) == pytest.approx(
        {f.fault: f.probability for f in expected.faults}
    )
    assert main(asked) == 0
    first, second, *_ = capsys.readouterr().out.splitlines()
    assert ": whole, the log" in first
    assert second == expected.sentences[0]


def test_a_close_verdict_goes_in_with_its_probability(job, capsys):
    asked = job(
        ended("spark", "no"),
        judged("secondary", Verdict.ABOVE, 0.6),
        ended("secondary", "above"),
    )
    assert main([*asked, "--json"]) == 0
    said = {"spark-at-gap": "no", "secondary-resistance": close_verdict("above", 0.6)}
    expected = find(said, "no-spark", parts=["brake-switch"])
    assert shares(capsys.readouterr().out) == pytest.approx(
        {f.fault: f.probability for f in expected.faults}
    )


def test_what_was_done_again_counts_as_it_was_the_last_time(job, capsys):
    asked = job(
        ended("spark", "yes"),
        StepReopened(t=2.0, step="spark", reason="the clamp was on paint"),
        ended("spark", "no", t=3.0),
    )
    assert main([*asked, "--json"]) == 0
    expected = find({"spark-at-gap": "no"}, "no-spark", parts=["brake-switch"])
    assert shares(capsys.readouterr().out) == pytest.approx(
        {f.fault: f.probability for f in expected.faults}
    )


def test_a_skipped_switch_is_none_that_the_engine_has(job, capsys):
    assert main([*job(ended("brake", "skipped")), "--switch", "stop-switch", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert "stop-switch-stuck-closed" in {f["fault"] for f in found["faults"]}
    assert found["unsaid"] == ["brake-switch"]


def test_an_outcome_on_the_command_line_counts_beside_the_job(job, capsys):
    asked = [*job(ended("spark", "no")), "--outcome", "air-gap=above", "--complaint", "dies-hot"]
    assert main([*asked, "--json"]) == 0
    said = {"spark-at-gap": "no", "air-gap": "above"}
    expected = find(said, "dies-hot", parts=["brake-switch"])
    assert shares(capsys.readouterr().out) == pytest.approx(
        {f.fault: f.probability for f in expected.faults}
    )


@pytest.mark.parametrize(
    ("asked", "code", "sentence"),
    [
        (["finding"], 2, "name a job, or give at least one --outcome CHECK=OUTCOME"),
        (["finding", "--outcome", "spark-at-gap=no"], 2, "give --complaint, such as no-spark"),
        (
            ["finding", "--outcome", "spark-at-gap"],
            2,
            "is no outcome; give such as spark-at-gap=no",
        ),
        (
            ["finding", "--outcome", "spark-at-gap=weak", "--complaint", "no-spark"],
            2,
            "there is no outcome “weak”; there is yes, no",
        ),
        (["finding", "no-such-job"], 4, "there is no job"),
        (["finding", "one", "two"], 2, "only “table” takes a file"),
        (["finding", "table", "no-such-file.toml"], 4, "no-such-file.toml cannot be read"),
    ],
)
def test_what_makes_no_sense_is_one_sentence(asked, code, sentence, capsys, tmp_path):
    asked = [*asked, "--jobs", str(tmp_path)]
    assert main(asked) == code
    told = capsys.readouterr().err
    assert sentence in told
    assert told.count("\n") == 1


def test_the_shipped_table_is_shown(capsys):
    assert main(["finding", "table"]) == 0
    shown = capsys.readouterr().out
    assert "no mistakes" in shown.splitlines()[0]
    for fault in shipped_table().faults:
        assert f"{fault}:" in shown
    assert main(["finding", "table", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["faults"].keys() == shipped_table().faults.keys()


def test_checks_of_each_switch_are_shown_by_their_names(capsys):
    assert main(["finding", "table"]) == 0
    shown = capsys.readouterr().out
    assert "done for each of stop-switch, brake-switch" in shown
    assert "done for each of spark-without-stop-switch, spark-without-brake-switch" in shown
    one = ["--outcome", "spark-at-gap=no", "--outcome", "spark-without-key-switch=yes"]
    assert main(["finding", "--complaint", "no-spark", *one]) == 0
    assert "Most likely: key switch" in capsys.readouterr().out


def test_a_table_of_ones_own_is_checked_and_used(tmp_path, capsys):
    data = resources.files("meterlink.finding").joinpath("faults.toml").read_text("utf-8")
    own = tmp_path / "own.toml"
    own.write_text(data.replace("plug-bad = 10", ""), encoding="utf-8")
    assert main(["finding", "table", str(own)]) == 0
    capsys.readouterr()

    own.write_text(data.replace("yes = 0.97, no = 0.03", "yes = 0.97, no = 0.13", 1), "utf-8")
    assert main(["finding", "table", str(own)]) == 1
    assert (
        "check “spark-at-gap”: sound: row: the probabilities sum to 1.1" in capsys.readouterr().out
    )
    asked = ["finding", "--outcome", "spark-at-gap=no", "--complaint", "no-spark"]
    assert main([*asked, "--table", str(own)]) == 1
    assert "the probabilities sum to 1.1" in capsys.readouterr().err

    own.write_text(data.replace("wont-stop = 38", "wont-stop = 3800"), encoding="utf-8")
    asked = ["finding", "--outcome", "stop-check=runs-on", "--complaint", "wont-stop", "--json"]
    assert main([*asked, "--table", str(own)]) == 0
    assert shares(capsys.readouterr().out)["stop-switch-never-closes"] > 0.9


def test_what_a_mended_engine_shows_is_told_after_the_mend(capsys):
    asked = ["finding", "--complaint", "no-spark", "--outcome", "spark-at-gap=no"]
    asked += ["--outcome", "spark-at-gap=no", "--outcome", "stop-switch=stuck-closed"]
    assert main([*asked, "--mended", "stop switch", "--outcome", "trial-run=good", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["mended"] == ["stop switch"]
    assert found["named"][0]["place"] == "stop switch"
    assert found["firm"]["draws"] == 24
    assert main([*asked, "--mended", "stop swich"]) == 2
    assert "there is no place “stop swich”; did you mean “stop switch”?" in capsys.readouterr().err


def test_jobs_of_the_workshop_are_counted_in_and_said(tmp_path, capsys):
    counts = tmp_path / "counts.toml"
    counts.write_text("[no-spark]\nplug-bad = 40\nkey-switch-stuck-closed = 1\n", encoding="utf-8")
    asked = ["finding", "--complaint", "no-spark", "--outcome", "earth-path=good"]
    assert main([*asked, "--counts", str(counts)]) == 0
    shown = capsys.readouterr().out
    # No outcome tells of a key switch, so the engine has none, and its job does not count.
    assert "Counted in: 40 jobs of the workshop." in shown
    for text, said in (
        (
            "[no-sprak]\nplug-bad = 1\n",
            "there is no complaint “no-sprak”; did you mean “no-spark”?",
        ),
        ("[no-spark]\nplug = 1\n", "complaint “no-spark”: there is no fault “plug”; did you mean"),
        ("[no-spark]\nplug-bad = -1\n", "counts.toml"),
    ):
        counts.write_text(text, encoding="utf-8")
        assert main([*asked, "--counts", str(counts)]) == 1
        assert said in capsys.readouterr().err


def test_steps_of_the_shipped_cards_speak_the_words_of_the_table():
    """What a card's step can end with has to mean something to the check that it feeds."""
    for found in CARDS.all():
        if not found.shipped:
            continue
        for step in CARDS.get(found.name).step:
            if step.check:
                words, outcomes = shipped_table().understands(step.check), step.outcomes
                assert words is not None, (found.name, step.id, step.check)
                assert outcomes is not None, (found.name, step.id)
                assert outcomes <= words, (found.name, step.id, outcomes - words)


def test_complaints_of_the_shipped_cards_are_those_of_the_table():
    for found in CARDS.all():
        complaint = CARDS.get(found.name).complaint
        assert not complaint or complaint in shipped_table().complaints, found.name
