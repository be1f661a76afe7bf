"""The arithmetic of the finding, against a Bayesian-network library and against hand-worked cases.

The reference is pybbn (PyPI), exact inference by junction trees after Huang and Darwiche, 1996
(as its documentation says). For single faults it is given the shipped table as the TOML lies there,
without any of our code in between. For two faults and slips of the hand it is given random tables:
a node for what each of the two faults would show, one for the worse of both, one for the slip rate
and one for what is recorded.
"""

import math
import tomllib
from importlib import resources
from itertools import combinations

import msgspec
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pybbn.graph.dag import Bbn
from pybbn.graph.edge import Edge, EdgeType
from pybbn.graph.jointree import EvidenceBuilder, EvidenceType
from pybbn.graph.node import BbnNode
from pybbn.graph.variable import Variable
from pybbn.pptc.inferencecontroller import InferenceController

from meterlink.finding.find import Later, find
from meterlink.finding.model import Model
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import posterior
from meterlink.finding.search import information, prospects
from meterlink.finding.table import shipped_table
from tests.meterlink.finding_tables import (
    TWO_COINS,
    check,
    fault,
    made,
    outcomes_of,
    table,
    tables,
)

SWITCHES = ("stop-switch", "brake-switch")
"""Two on the engine, so that the fault of each has to be split up."""

RAW = tomllib.loads(
    resources.files("meterlink.finding").joinpath("faults.toml").read_text(encoding="utf-8")
)


class Reference:
    """The shipped table as a network of pybbn, for one complaint."""

    def __init__(self, complaint: str) -> None:
        self.priors = dict(_faults(complaint))
        total = sum(self.priors.values())
        node = BbnNode(
            Variable(0, "fault", list(self.priors)), [p / total for p in self.priors.values()]
        )
        self.network = Bbn().add_node(node)
        nodes = {"fault": node}
        for name, kind in _checks():
            after = RAW["checks"][kind].get("after")
            shares = [
                share
                for suspect in self.priors
                for context in (RAW["checks"][after]["outcomes"] if after else [None])
                for share in _row(suspect, name, kind, complaint, context)
            ]
            own = BbnNode(Variable(len(nodes), name, RAW["checks"][kind]["outcomes"]), shares)
            nodes[name] = own
            self.network.add_node(own).add_edge(Edge(node, own, EdgeType.DIRECTED))
            if after:
                self.network.add_edge(Edge(nodes[after], own, EdgeType.DIRECTED))
        self.tree = InferenceController.apply(self.network)

    def posterior(self, said: dict[str, str | dict[str, float]]) -> dict[str, float]:
        self.tree.unobserve_all()
        observed = []
        for name, outcome in said.items():
            weights = outcome if isinstance(outcome, dict) else {outcome: 1.0}
            node = self.tree.get_bbn_node_by_name(name)
            building = EvidenceBuilder().with_node(node).with_type(EvidenceType.VIRTUAL)
            for value in node.variable.values:
                building = building.with_evidence(value, weights.get(value, 0.0))
            observed.append(building.build())
        self.tree.update_evidences(observed)  # all at once: each time it works out every clique
        return self.shares("fault")

    def shares(self, name: str) -> dict[str, float]:
        potential = self.tree.get_bbn_potential(self.tree.get_bbn_node_by_name(name))
        (key,) = {key for entry in potential.entries for key in entry.entries}
        return {entry.entries[key]: entry.value for entry in potential.entries}


def _faults(complaint):
    for name, raw in RAW["faults"].items():
        prior = raw["prior"].get(complaint)
        if prior is None:
            continue
        if "each" not in raw:
            yield name, prior
            continue
        shares = {switch: raw["shares"][switch] for switch in SWITCHES}
        for switch, share in shares.items():
            yield name.replace("switch", switch, 1), prior * share / sum(shares.values())


def _checks():
    for name, raw in RAW["checks"].items():
        if "each" in raw or "each_of" in raw:
            yield from ((name.replace("switch", switch), name) for switch in SWITCHES)
        else:
            yield name, name


def _row(suspect, name, kind, complaint, context):
    switch = next((s for s in SWITCHES if suspect.startswith(f"{s}-")), None)
    key = suspect.replace(switch, "switch", 1) if switch else suspect
    blocks = [RAW["checks"][kind]["sound"]]
    if "faulty" in RAW["checks"][kind]:
        blocks.insert(0, RAW["checks"][kind]["faulty"])
    if switch is None or "switch" not in kind or switch in name:
        raw = RAW["faults"][key]
        blocks.insert(0, raw.get("gives", {}).get(kind, {}))
        blocks.insert(0, raw.get("when", {}).get(complaint, {}).get(kind, {}))
    for block in blocks:
        row = block.get("row") if context is None else block.get("given", {}).get(context)
        if row:
            return [row[outcome] for outcome in RAW["checks"][kind]["outcomes"]]
    raise AssertionError((suspect, name, context))


@pytest.fixture(scope="module", params=list(RAW["complaints"]))
def job(request):
    """Reference and model of one complaint."""
    alone = msgspec.structs.replace(shipped_table(), second=None, slip=())
    return Reference(request.param), Model(alone, request.param, SWITCHES)


def _random_job(model, rng, soft):
    said = {}
    for name in rng.permutation(list(model.nodes))[: rng.integers(0, len(model.nodes) + 1)]:
        outcomes = model.nodes[name].outcomes
        if soft and rng.random() < 0.3:
            said[str(name)] = dict(
                zip(outcomes, rng.dirichlet(np.ones(len(outcomes))), strict=True)
            )
        else:
            said[str(name)] = str(rng.choice(outcomes))
    return said


@pytest.mark.parametrize("soft", [False, True])
def test_probabilities_agree_with_a_bayesian_network_library(job, soft):
    reference, model = job
    rng = np.random.default_rng(20261103)
    for _ in range(6):
        said = _random_job(model, rng, soft)
        expected = reference.posterior(said)
        shares = posterior(model, record(model, said).evidence)
        ours = {s.name: p for s, p in zip(model.suspects, shares, strict=True)}
        assert ours.keys() == expected.keys()
        for name, probability in expected.items():
            assert ours[name] == pytest.approx(probability, rel=1e-9, abs=1e-12), (said, name)


def test_expected_information_agrees_with_a_bayesian_network_library(job):
    reference, model = job
    rng = np.random.default_rng(7)
    for _ in range(1):
        said = _random_job(model, rng, soft=False)
        for prospect in prospects(model, record(model, said).evidence, least=0.0, again=False)[:2]:
            before = _bits(_by_place(model, reference.posterior(said)))
            chances = reference.shares(prospect.node.name)
            after = sum(
                chance
                * _bits(
                    _by_place(model, reference.posterior({**said, prospect.node.name: outcome}))
                )
                for outcome, chance in chances.items()
            )
            assert prospect.bits == pytest.approx(before - after, abs=1e-9)
            assert list(prospect.chances) == pytest.approx(list(chances.values()), rel=1e-9)


def _by_place(model, shares):
    result = dict.fromkeys(model.places, 0.0)
    for suspect in model.suspects:
        result[suspect.place] += shares[suspect.name]
    return result.values()


def _bits(shares):
    return -sum(p * math.log2(p) for p in shares if p > 0)


# --- two faults at once, and slips --------------------------------------------------------------


class PairReference:
    """A table of one complaint as a network of pybbn, with pairs of faults and with slips."""

    def __init__(self, declared) -> None:
        self.table = declared
        self.names = list(declared.faults)
        shares = np.array([fault.prior["dead"] for fault in declared.faults.values()])
        shares = shares / shares.sum()
        pairs = list(combinations(range(len(self.names)), 2))
        both = np.array([shares[i] * shares[j] for i, j in pairs])
        more = declared.second.share
        self.sets = [(i, None) for i in range(len(self.names))] + pairs
        prior = [*(shares * (1 - more)), *(both / both.sum() * more)]
        self.network = Bbn()
        self._nodes = {}
        self._add("set", [str(n) for n in range(len(self.sets))], prior)
        slips = declared.slip
        total = sum(slip.share for slip in slips)
        self._add("rate", [str(n) for n in range(len(slips))], [s.share / total for s in slips])
        for name in declared.checks:
            self._check(name, declared.checks[name])
        self.tree = InferenceController.apply(self.network)

    def _add(self, name, values, shares, *parents):
        node = BbnNode(Variable(len(self._nodes), name, values), [float(s) for s in shares])
        self._nodes[name] = node
        self.network.add_node(node)
        for parent in parents:
            self.network.add_edge(Edge(self._nodes[parent], node, EdgeType.DIRECTED))

    def _check(self, name, check):
        outcomes = list(check.outcomes)
        contexts = self.table.contexts(name)
        for side in (0, 1):
            rows = [self._row(pair, side, name, c) for pair in self.sets for c in contexts]
            above = [f"{check.after}.{side}"] if check.after else []
            self._add(f"{name}.{side}", outcomes, np.concatenate(rows), "set", *above)
        mild = _mildest_first(check)
        worse = [
            float(out == max(a, b, key=mild.index))
            for a in outcomes
            for b in outcomes
            for out in outcomes
        ]
        self._add(f"{name}.shown", outcomes, worse, f"{name}.0", f"{name}.1")
        recorded = []
        for true in outcomes:
            for slip in self.table.slip:
                wrong = slip.rate / (len(outcomes) - 1)
                recorded += [1 - slip.rate if out == true else wrong for out in outcomes]
        self._add(name, outcomes, recorded, f"{name}.shown", "rate")

    def _row(self, pair, side, name, context):
        """What one of the two would show; one that has nothing to say shows the mildest."""
        check = self.table.checks[name]
        mildest = [float(out == _mildest_first(check)[0]) for out in check.outcomes]
        own, other = pair[side], pair[1 - side]
        if own is None:
            return mildest
        if not self._touches(own, name):
            sound_counts = side == 0 and (other is None or not self._touches(other, name))
            if not sound_counts:
                return mildest
        fault = self.table.faults[self.names[own]]
        row = self.table.distribution(fault, name, "dead", context)
        return [row[out] for out in check.outcomes]

    def _touches(self, fault, name):
        after = self.table.checks[name].after
        own = name in self.table.faults[self.names[fault]].gives
        return own or bool(after and self._touches(fault, after))

    def posterior(self, said):
        self.tree.unobserve_all()
        observed = []
        for name, outcome in said.items():
            node = self.tree.get_bbn_node_by_name(name)
            building = EvidenceBuilder().with_node(node)
            for value in node.variable.values:
                building = building.with_evidence(value, float(value == outcome))
            observed.append(building.build())
        self.tree.update_evidences(observed)
        potential = self.tree.get_bbn_potential(self.tree.get_bbn_node_by_name("set"))
        (key,) = {key for entry in potential.entries for key in entry.entries}
        found = {int(entry.entries[key]): entry.value for entry in potential.entries}
        return [found[n] for n in range(len(self.sets))]


def _mildest_first(check):
    row = next(iter(check.sound.contexts.values()))
    first = max(check.outcomes, key=lambda outcome: row[outcome])
    return [first, *(out for out in check.outcomes if out != first)]


@given(tables(second=0.3, slip=((0.01, 2.0), (0.2, 1.0)), most=3), st.data())
@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
def test_two_faults_and_slips_agree_with_a_bayesian_network_library(declared, data):
    model = Model(declared, "dead")
    said = data.draw(outcomes_of(declared, soft=False))
    expected = PairReference(declared).posterior(said)
    assert list(posterior(model, record(model, said).evidence)) == pytest.approx(
        expected, rel=1e-9, abs=1e-12
    )


def test_two_faults_by_hand():
    """Two faults, each seen by a check of its own that never errs by much: Bayes over three sets.

    Priors 3 to 1 for one alone, a quarter of the engines with both. Each check shows 0.9 under its
    own fault and 0.1 else, so both checks bad: 0.75*0.75*0.09, 0.75*0.25*0.09, 0.25*0.81.
    """
    bad = {"row": {"good": 0.1, "bad": 0.9}}
    sound = {"good": 0.9, "bad": 0.1}
    declared = made(
        table(
            {"one": check(["good", "bad"], sound), "two": check(["good", "bad"], sound)},
            {
                "a": fault(3.0, {"one": bad}, place="place a"),
                "b": fault(1.0, {"two": bad}, place="place b"),
            },
            second={"share": 0.25, "source": "made up for a test"},
        )
    )
    found = find({"one": "bad", "two": "bad"}, "dead", table=declared)
    alone_a, alone_b, both = 0.75 * 0.75 * 0.09, 0.75 * 0.25 * 0.09, 0.25 * 0.81
    total = alone_a + alone_b + both
    assert found.sets[0].places == ("place a", "place b")
    assert found.sets[0].probability == pytest.approx(both / total)
    assert {p.place: p.probability for p in found.places} == pytest.approx(
        {"place a": (alone_a + both) / total, "place b": (alone_b + both) / total}
    )
    # Mended in place a, the engine shows b alone: 0.9 where b is left, 0.1 where nothing is.
    later = [Later(mended=("place a",), outcomes={"two": "bad"})]
    after = find({"one": "bad", "two": "bad"}, "dead", table=declared, later=later)
    assert after.sets[0].probability == pytest.approx(
        both * 0.9 / (alone_a * 0.1 + alone_b * 0.9 + both * 0.9)
    )


def test_a_slip_by_hand():
    """A check that tells for certain, and hands that slip in one of five: 0.8 to 0.2 of 0.999.

    Twice the same answer is 0.64 to 0.04; once each way is as good as none.
    """
    sure = {"row": {"good": 0.001, "bad": 0.999}}
    declared = made(
        table(
            {"look": check(["good", "bad"], {"good": 0.999, "bad": 0.001})},
            {"a": fault(1.0, {"look": sure}, place="place a"), "b": fault(1.0, place="place b")},
            slip=[{"rate": 0.2, "share": 1.0}],
        )
    )

    def a(said):
        return find({"look": said}, "dead", table=declared).faults

    one = {f.fault: f.probability for f in a("bad")}["a"]
    assert one == pytest.approx(0.999 * 0.8 + 0.001 * 0.2)
    two = {f.fault: f.probability for f in a(["bad", "bad"])}["a"]
    bad, good = 0.999 * 0.64 + 0.001 * 0.04, 0.001 * 0.64 + 0.999 * 0.04
    assert two == pytest.approx(bad / (bad + good))
    assert {f.fault: f.probability for f in a(["bad", "good"])}["a"] == pytest.approx(0.5)


# --- worked by hand ---------------------------------------------------------------------------


def test_two_coins():
    """Three fair coins to one bent with 9 heads in 10. Heads: 3 x 0.5 to 1 x 0.9, so 5 to 3."""
    found = find({"toss": "heads"}, "dead", table=made(TWO_COINS))
    assert {f.fault: f.probability for f in found.faults} == pytest.approx(
        {"fair": 5 / 8, "bent": 3 / 8}
    )
    bent = found.faults[1]
    assert bent.speaks_for[0].bits == pytest.approx(math.log2(0.9 / 0.5))
    assert found.faults[0].speaks_against[0].bits == pytest.approx(-math.log2(0.9 / 0.5))


def test_two_coins_with_a_toss_that_was_hard_to_see():
    """Heads with 3 to 1: the fair coin gives what was seen with 0.5, the bent one with 0.7."""
    found = find({"toss": {"heads": 0.75, "tails": 0.25}}, "dead", table=made(TWO_COINS))
    assert {f.fault: f.probability for f in found.faults} == pytest.approx(
        {"fair": 1.5 / 2.2, "bent": 0.7 / 2.2}
    )


def test_expected_information_of_a_toss():
    """H(coin) 0.8113 bit; heads (0.6) leave H(3/8), tails (0.4) leave H(1/16)."""
    (proposed,) = find({}, "dead", table=made(TWO_COINS)).next

    def h(p):
        return -p * math.log2(p) - (1 - p) * math.log2(1 - p)

    assert proposed.bits == pytest.approx(h(1 / 4) - 0.6 * h(3 / 8) - 0.4 * h(1 / 16))
    assert proposed.minutes == 2
    assert proposed.rate == pytest.approx(proposed.bits / 2)
    assert [(m.outcome, m.fault) for m in proposed.means] == [("heads", "fair"), ("tails", "fair")]


def test_a_perfect_binary_check_of_two_equal_faults_is_worth_almost_one_bit():
    """Binary symmetric channel, error 0.001: 1 - H(0.001) bit (Shannon 1948, from memory)."""
    joint = 0.5 * np.array([[0.999, 0.001], [0.001, 0.999]])
    h = -0.001 * math.log2(0.001) - 0.999 * math.log2(0.999)
    assert information(joint) == pytest.approx(1 - h)


def test_the_same_trial_again_counts_once():
    """``again`` repeats what ``first`` said, whatever the fault: it must change nothing."""
    yes_no = ["yes", "no"]
    same = {"yes": {"yes": 0.99, "no": 0.01}, "no": {"yes": 0.01, "no": 0.99}}
    repeated = made(
        table(
            {
                "first": check(yes_no, {"yes": 0.9, "no": 0.1}),
                "again": check(yes_no, same, after="first"),
            },
            {
                "weak": fault(1.0, {"first": {"row": {"yes": 0.3, "no": 0.7}}}),
                "none": fault(1.0),
            },
        )
    )
    once = find({"first": "no"}, "dead", table=repeated)
    twice = find({"first": "no", "again": "no"}, "dead", table=repeated)
    assert once.faults[0].probability == pytest.approx(7 / 8)
    assert twice.faults[0].probability == pytest.approx(7 / 8)
    # The second alone still tells: 0.3*0.01 + 0.7*0.99 against 0.9*0.01 + 0.1*0.99.
    alone = find({"again": "no"}, "dead", table=repeated)
    assert alone.faults[0].probability == pytest.approx(0.696 / (0.696 + 0.108))


def test_stop_circuit_against_armature_by_hand():
    """No spark, spark with the stop circuit off: which numbers of the table make the answer."""
    alone = msgspec.structs.replace(shipped_table(), second=None, slip=())
    said = {"spark-at-gap": "no", "spark-with-stop-isolated": "yes"}
    found = find(said, "no-spark", table=alone)
    joint = {}
    for name, raw in RAW["faults"].items():
        if "no-spark" not in raw["prior"]:
            continue
        key = "switch" if "each" in raw else None
        gives = raw.get("gives", {})
        no = gives.get("spark-at-gap", RAW["checks"]["spark-at-gap"]["sound"])["row"]["no"]
        isolated = gives.get(
            "spark-with-stop-isolated", RAW["checks"]["spark-with-stop-isolated"]["sound"]
        )["given"]["no"]["yes"]
        own = name if key is None else f"stop-{name}"
        joint[own] = raw["prior"]["no-spark"] * no * isolated
    total = sum(joint.values())
    assert {f.fault: f.probability for f in found.faults} == pytest.approx(
        {name: share / total for name, share in joint.items()}
    )
    by_place = {p.place: p.probability for p in found.places}
    assert by_place["stop switch"] + by_place["stop wire"] > 0.9
