"""What must hold for every table and every set of outcomes, and for the shipped table above all."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.finding.find import finding
from meterlink.finding.model import Model
from meterlink.finding.next_check import prospects
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import log_odds, outcome_shares, posterior, take_in
from meterlink.finding.table import shipped_table
from tests.meterlink.finding_tables import check, fault, made, outcomes_of, table, tables

SHIPPED = {complaint: Model(shipped_table(), complaint) for complaint in shipped_table().complaints}

random_jobs = tables().flatmap(
    lambda made_table: st.tuples(st.just(Model(made_table, "dead")), outcomes_of(made_table))
)


@st.composite
def shipped_jobs(draw):
    """A model of the shipped table, with certain outcomes of some checks."""
    model = SHIPPED[draw(st.sampled_from(sorted(SHIPPED)))]
    names = draw(st.sets(st.sampled_from(list(model.nodes))))
    return model, {
        name: draw(st.sampled_from(model.nodes[name].outcomes)) for name in sorted(names)
    }


jobs = st.one_of(random_jobs, shipped_jobs())


@given(jobs)
@settings(deadline=None)
def test_probabilities_sum_to_one(job):
    model, said = job
    found = finding(model, said)
    assert sum(f.probability for f in found.faults) == pytest.approx(1)
    assert sum(p.probability for p in found.places) == pytest.approx(1)
    assert all(0 <= f.probability <= 1 for f in found.faults)


@given(jobs, st.randoms(use_true_random=False))
@settings(deadline=None)
def test_the_order_of_the_outcomes_does_not_matter(job, random):
    model, said = job
    shuffled = list(said.items())
    random.shuffle(shuffled)
    assert finding(model, dict(shuffled)) == finding(model, said)


@given(jobs)
@settings(deadline=None)
def test_what_speaks_for_and_against_adds_up(job):
    """The weights of the outcomes are all of what moved the odds, for every fault."""
    model, said = job
    recorded = record(model, said)
    moved = sum((taken.weight for taken in take_in(model, recorded)), np.zeros(len(model.prior)))
    after = np.log(model.prior) + model.log_likelihood(recorded.evidence)
    expected = (log_odds(after) - log_odds(np.log(model.prior))) / np.log(2)
    assert moved == pytest.approx(expected, abs=1e-9)


@given(jobs)
@settings(deadline=None)
def test_expected_information_is_never_negative_nor_more_than_there_is_to_know(job):
    model, said = job
    evidence = record(model, said).evidence
    by_place = model.by_place(posterior(model, evidence))
    unknown = -sum(p * np.log2(p) for p in by_place if p > 0)
    for prospect in prospects(model, evidence, least=0.0):
        assert 0 <= prospect.bits <= unknown + 1e-9


@given(jobs)
@settings(deadline=None)
def test_what_the_outcomes_of_a_check_would_mean_averages_to_what_is_known(job):
    """No check can be expected to move the probabilities in one direction."""
    model, said = job
    evidence = record(model, said).evidence
    now = posterior(model, evidence)
    for prospect in prospects(model, evidence, least=0.0):
        assert prospect.chances.sum() == pytest.approx(1)
        assert prospect.chances @ prospect.then == pytest.approx(now)


@given(jobs, st.data())
@settings(deadline=None)
def test_an_outcome_contrary_to_a_fault_never_raises_it(job, data):
    """Contrary: given all else, no fault makes this outcome less likely than this one does."""
    model, said = job
    still_open = [node for node in model.nodes.values() if node.name not in said]
    if not still_open:
        return
    node = data.draw(st.sampled_from(still_open), label="check")
    evidence = record(model, said).evidence
    before = posterior(model, evidence)
    shares = outcome_shares(model, node, evidence)
    for i, outcome in enumerate(node.outcomes):
        after = posterior(model, {**evidence, node.name: node.certain(outcome)})
        for contrary in np.flatnonzero(shares[:, i] <= shares[:, i].min()):
            assert after[contrary] <= before[contrary] * (1 + 1e-9)


@given(jobs)
@settings(deadline=None)
def test_a_check_that_tells_nothing_changes_nothing(job):
    """Every outcome equally well seen: what a reading that cannot decide is worth."""
    model, said = job
    evidence = record(model, said).evidence
    for node in model.nodes.values():
        if node.name not in said:
            flat = np.full(len(node.outcomes), 1 / len(node.outcomes))
            nothing = posterior(model, {**evidence, node.name: flat})
            assert nothing == pytest.approx(posterior(model, evidence))


@given(jobs)
@settings(deadline=None)
def test_fit_is_a_probability_and_is_whole_where_nothing_surprises(job):
    model, said = job
    for suspected in finding(model, said).faults:
        assert 0 < suspected.fit <= 1 + 1e-9
    assert all(suspected.fit == 1 for suspected in finding(model, {}).faults)


def test_a_check_with_the_same_row_under_every_fault_tells_nothing():
    flat = made(
        table({"idle": check(["a", "b"], {"a": 0.3, "b": 0.7})}, {"x": fault(1.0), "y": fault(3.0)})
    )
    model = Model(flat, "dead")
    (prospect,) = prospects(model, {}, least=0.0)
    assert prospect.bits == pytest.approx(0, abs=1e-12)
    assert posterior(model, record(model, {"idle": "a"}).evidence) == pytest.approx([0.25, 0.75])


def test_many_outcomes_do_not_underflow():
    """Sixty checks at one in a thousand: the product is below what a float can hold."""
    names = [f"check-{i}" for i in range(120)]
    good = {"row": {"a": 0.999, "b": 0.001}}
    many = made(
        table(
            {name: check(["a", "b"], {"a": 0.998, "b": 0.002}) for name in names},
            {"x": fault(1.0, dict.fromkeys(names, good)), "y": fault(1.0)},
        )
    )
    shares = posterior(
        Model(many, "dead"), record(Model(many, "dead"), dict.fromkeys(names, "b")).evidence
    )
    assert shares[1] == pytest.approx(1)
    assert shares[0] == pytest.approx(2.0**-120)


# --- the shipped table, as physics and practice have it ----------------------------------------

CONTRARY = [
    ("no-spark", "open-primary", "primary-resistance", "in-window"),
    ("no-spark", "open-primary", "primary-resistance", "short"),
    ("no-spark", "open-primary", "spark-at-gap", "yes"),
    ("no-spark", "shorted-primary", "primary-resistance", "in-window"),
    ("no-spark", "open-secondary", "secondary-resistance", "in-window"),
    ("no-spark", "stop-switch-stuck-closed", "stop-switch", "passed"),
    ("no-spark", "bad-lead-or-cap", "lead-resistance", "in-window"),
    ("no-spark", "key-sheared-or-missing", "flywheel-key", "whole"),
    ("no-spark", "wrong-air-gap", "air-gap", "in-window"),
    ("no-spark", "weak-or-cracked-magnet", "magnet-pull", "strong"),
    ("no-spark", "plug-bad", "plug-condition", "good"),
    ("no-spark", "leaking-insulation", "insulation", "passed"),
    ("no-spark", "poor-earth", "earth-path", "good"),
    ("no-spark", "stop-wire-chafed", "stop-wire-watch", "none"),
    ("wont-stop", "stop-switch-never-closes", "stop-switch", "passed"),
    ("wont-stop", "stop-wire-broken", "stop-wire-watch", "none"),
    ("dies-hot", "open-secondary", "soak", "steady"),
    ("dies-hot", "open-primary", "soak", "steady"),
]


@pytest.mark.parametrize(("complaint", "suspect", "name", "outcome"), CONTRARY)
@given(data=st.data())
@settings(deadline=None, max_examples=20)
def test_a_passed_check_never_raises_the_fault_that_it_looks_for(
    complaint, suspect, name, outcome, data
):
    """Whatever else is recorded, later trials of the same thing apart.

    Those can turn it round, and rightly: that a known-good armature brings no spark acquits the old
    one only as long as the spark was missing at all.
    """
    model = SHIPPED[complaint]
    family = {node.name for node in model.nodes[name].family()}
    names = data.draw(st.sets(st.sampled_from([n for n in model.nodes if n not in family])))
    said = {n: data.draw(st.sampled_from(model.nodes[n].outcomes)) for n in sorted(names)}
    at = [s.name for s in model.suspects].index(suspect)
    before = posterior(model, record(model, said).evidence)[at]
    after = posterior(model, record(model, {**said, name: outcome}).evidence)[at]
    assert after <= before * (1 + 1e-9)


@pytest.mark.parametrize("complaint", sorted(SHIPPED))
def test_every_shipped_fault_can_be_told_from_every_other_by_some_check(complaint):
    """Two faults that no check tells apart would be one; place may be all that matters, though."""
    model = SHIPPED[complaint]
    for (i, one), (j, other) in product(enumerate(model.suspects), repeat=2):
        if i < j:
            assert any(
                np.abs(node.shares[i] - node.shares[j]).max() > 0.05
                for node in model.nodes.values()
            ), (one.name, other.name)


@pytest.mark.parametrize("complaint", sorted(SHIPPED))
def test_the_likeliest_outcomes_of_a_fault_speak_for_its_place(complaint):
    """An engine that shows what its fault most likely shows is found, at least as to the place."""
    model = SHIPPED[complaint]
    for i, suspect in enumerate(model.suspects):
        said: dict[str, str] = {}
        for node in model.nodes.values():
            evidence = record(model, said).evidence
            shares = outcome_shares(model, node, evidence)[i]
            said[node.name] = node.outcomes[int(shares.argmax())]
        found = finding(model, said)
        assert found.places[0].place == suspect.place, suspect.name
        assert not found.contradictory, suspect.name
