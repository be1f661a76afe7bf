"""What must hold for every table and every set of outcomes, and for the shipped table above all."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.finding.find import finding
from meterlink.finding.model import Model
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import Belief, EvidenceStage, log_odds, posterior, take_in
from meterlink.finding.search import prospects
from meterlink.finding.table import shipped_table
from tests.meterlink.finding_tables import check, fault, made, outcomes_of, table, tables

SHIPPED = {complaint: Model(shipped_table(), complaint) for complaint in shipped_table().complaints}

random_jobs = st.one_of(tables(), tables(second=0.3, slip=((0.02, 1.0), (0.15, 1.0)))).flatmap(
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
    shares = posterior(model, record(model, said).evidence)
    assert shares.sum() == pytest.approx(1)
    assert model.by_set(shares).sum() == pytest.approx(1)
    # Each engine has a fault, and no more than two.
    assert 1 - 1e-9 <= sum(f.probability for f in found.faults) <= 2 + 1e-9
    assert all(0 <= f.probability <= 1 + 1e-9 for f in found.faults)
    assert found.named[0].probability <= 1 + 1e-9
    assert all(0 <= odd.probability <= 1 for odd in found.odd)


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
    steps = take_in(model, recorded.evidence)
    moved = sum((taken.weight for taken in steps), np.zeros(len(model.suspects)))
    before, after = (
        log_odds(model, Belief(model, known).log_joint) for known in ({}, recorded.evidence)
    )
    assert moved == pytest.approx((after - before) / np.log(2), abs=1e-9)


@given(jobs)
@settings(deadline=None)
def test_expected_information_is_never_negative_nor_more_than_there_is_to_know(job):
    model, said = job
    evidence = record(model, said).evidence
    by_set = model.by_set(posterior(model, evidence))
    unknown = -sum(p * np.log2(p) for p in by_set if p > 0)
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
def test_an_outcome_contrary_to_a_set_never_raises_it(job, data):
    """Contrary: given all else, nothing makes this outcome less likely than these faults do."""
    model, said = job
    still_open = [node for node in model.nodes.values() if node.name not in said]
    if not still_open:
        return
    node = data.draw(st.sampled_from(still_open), label="check")
    belief = Belief(model, record(model, said).evidence)
    joint = belief.outcome_shares(node)
    for outcome, chances in zip(node.outcomes, joint, strict=True):
        shares = chances / belief.shares
        after = posterior(model, record(model, {**said, node.name: outcome}).evidence)
        for contrary in np.flatnonzero(shares <= shares.min()):
            assert after[contrary] <= belief.shares[contrary] * (1 + 1e-9)


@given(jobs)
@settings(deadline=None)
def test_a_check_that_tells_nothing_changes_nothing(job):
    """Every outcome equally well seen: what a reading that cannot decide is worth."""
    model, said = job
    evidence = record(model, said).evidence
    for node in model.nodes.values():
        if node.name not in said:
            flat = np.full((len(model.slip_rates), len(node.outcomes)), 1 / len(node.outcomes))
            nothing = posterior(model, {**evidence, node.name: flat})
            assert nothing == pytest.approx(posterior(model, evidence))


@given(jobs, st.data())
@settings(deadline=None, max_examples=50)
def test_a_place_that_is_mended_shows_no_more(job, data):
    """What is seen after a mend says nothing of the faults that are gone: only of those left."""
    model, said = job
    place = data.draw(st.sampled_from(model.places), label="mended")
    stages = [EvidenceStage(), EvidenceStage(frozenset([place]), record(model, said).evidence)]
    shares = posterior(model, stages)
    inside = [i for i, suspect in enumerate(model.suspects) if suspect.place == place]
    alone = shares[inside] / shares[inside].sum()
    assert alone == pytest.approx(model.prior[inside] / model.prior[inside].sum())


@given(jobs, st.data())
@settings(deadline=None, max_examples=50)
def test_saying_the_same_again_never_makes_it_likelier_a_slip(job, data):
    model, said = job
    if not said:
        return
    name = data.draw(st.sampled_from(sorted(said)), label="check")
    once, twice = said, {**said, name: [said[name], said[name]]}
    wrong = []
    for outcomes in (once, twice):
        recorded = record(model, outcomes)
        shown = {name: recorded.shown[name]}
        wrong.append(Belief(model, recorded.evidence).wrong(shown)[name])
    assert wrong[1] <= wrong[0] + 0.5 * wrong[0] + 1e-9


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
    before = Belief(model, record(model, said).evidence).suspects[at]
    after = Belief(model, record(model, {**said, name: outcome}).evidence).suspects[at]
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
            joint = Belief(model, record(model, said).evidence).outcome_shares(node)
            said[node.name] = node.outcomes[int(joint[:, i].argmax())]
        found = finding(model, said)
        assert found.places[0].place == suspect.place, suspect.name
        assert not found.contradictory, suspect.name
