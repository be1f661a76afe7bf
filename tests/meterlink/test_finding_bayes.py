"""The arithmetic of the finding, against a Bayesian-network library and against hand-worked cases.

The reference is pybbn (PyPI), exact inference by junction trees after Huang and Darwiche, 1996
(as its documentation says). It is given the shipped table as the TOML lies there, without any of
our code in between.
"""

import math
import tomllib
from importlib import resources

import numpy as np
import pytest
from pybbn.graph.dag import Bbn
from pybbn.graph.edge import Edge, EdgeType
from pybbn.graph.jointree import EvidenceBuilder, EvidenceType
from pybbn.graph.node import BbnNode
from pybbn.graph.variable import Variable
from pybbn.pptc.inferencecontroller import InferenceController

from meterlink.finding.find import find
from meterlink.finding.model import Model
from meterlink.finding.next_check import information, prospects
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import posterior
from meterlink.finding.table import shipped_table
from tests.meterlink.finding_tables import TWO_COINS, check, fault, made, table

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
        for name, outcome in said.items():
            weights = outcome if isinstance(outcome, dict) else {outcome: 1.0}
            node = self.tree.get_bbn_node_by_name(name)
            building = EvidenceBuilder().with_node(node).with_type(EvidenceType.VIRTUAL)
            for value in node.variable.values:
                building = building.with_evidence(value, weights.get(value, 0.0))
            self.tree.set_observation(building.build())
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
    return Reference(request.param), Model(shipped_table(), request.param, SWITCHES)


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
    for _ in range(5):
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
    for _ in range(2):
        said = _random_job(model, rng, soft=False)
        for prospect in prospects(model, record(model, said).evidence, least=0.0)[:2]:
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
    found = find({"spark-at-gap": "no", "spark-with-stop-isolated": "yes"}, "no-spark")
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
