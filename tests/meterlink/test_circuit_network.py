"""The resistor network against hand-worked circuits, exact arithmetic and another library."""

from fractions import Fraction
from itertools import combinations
from math import inf, isinf

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.circuit.network import Network
from meterlink.circuit.wiring import parallel


def network(*elements: tuple[object, object, float]) -> Network:
    net = Network()
    for a, b, ohms in elements:
        net.connect(a, b, ohms)
    return net


def cube() -> Network:
    """Twelve resistors of one ohm along the edges of a cube, corners numbered in binary."""
    return network(*((a, b, 1.0) for a, b in combinations(range(8), 2) if (a ^ b).bit_count() == 1))


# Worked by hand, or textbook results; the cube and the infinite ladder are in every collection of
# resistor problems: 5/6, 3/4 and 7/12 of an edge; a ladder of unit rungs tends to the golden ratio.
BY_HAND = [
    ("in series", network(("a", "m", 100.0), ("m", "b", 47.0)), ("a", "b"), 147.0),
    ("in parallel", network(("a", "b", 6.0), ("a", "b", 3.0)), ("a", "b"), 2.0),
    (
        "balanced bridge: the middle carries nothing",
        network(
            ("a", "l", 10.0), ("a", "r", 20.0), ("l", "b", 30.0), ("r", "b", 60.0), ("l", "r", 7.0)
        ),
        ("a", "b"),
        40 * 80 / 120,
    ),
    (
        # Delta a-l-r of 1, 2 and 3 ohms made a star of 1/3, 1/2 and 1: (1/3+4) and (1/2+5) in
        # parallel need the middle's own: worked by the star-delta transformation.
        "unbalanced bridge",
        network(
            ("a", "l", 1.0), ("a", "r", 2.0), ("l", "r", 3.0), ("l", "b", 4.0), ("r", "b", 5.0)
        ),
        ("a", "b"),
        1 / 3 + (0.5 + 4) * (1 + 5) / (0.5 + 4 + 1 + 5),
    ),
    ("cube, across the body", cube(), (0, 7), 5 / 6),
    ("cube, across a face", cube(), (0, 3), 3 / 4),
    ("cube, along an edge", cube(), (0, 1), 7 / 12),
    (
        "ladder",
        network(*((n, n + 1, 1.0) for n in range(30)), *((n, "ground", 1.0) for n in range(1, 31))),
        (0, "ground"),
        (1 + 5**0.5) / 2,
    ),
]


@pytest.mark.parametrize(("name", "net", "ends", "ohms"), BY_HAND, ids=[c[0] for c in BY_HAND])
def test_a_network_worked_by_hand(
    name: str, net: Network, ends: tuple[object, object], ohms: float
) -> None:
    assert net.resistance(*ends) == pytest.approx(ohms, rel=1e-12)


def test_no_path_is_infinite_and_the_same_place_is_zero() -> None:
    net = network(("a", "b", 5.0), ("c", "d", 5.0), ("b", "c", inf))
    assert isinf(net.resistance("a", "d"))
    assert isinf(net.resistance("a", "nowhere"))
    assert net.resistance("a", "a") == 0.0


def test_a_resistor_of_nothing_joins_what_it_connects() -> None:
    net = network(("a", "m", 10.0), ("m", "n", 0.0), ("n", "b", 5.0), ("m", "n", 3.0))
    assert net.resistance("a", "b") == pytest.approx(15.0)
    assert net.resistance("m", "n") == 0.0


@pytest.mark.parametrize("ohms", [-1.0, float("nan")])
def test_a_resistor_that_cannot_be_is_refused(ohms: float) -> None:
    with pytest.raises(ValueError, match="resistor"):
        Network().connect("a", "b", ohms)


def test_four_wires_see_no_leads() -> None:
    net = network(("i+", "tip+", 0.1), ("tip+", "tip-", 0.85), ("tip-", "i-", 0.2))
    net.connect("s+", "tip+", 0.1)
    net.connect("s-", "tip-", 0.1)
    solution = net.solve("i+", "i-")
    assert solution is not None
    assert solution.resistance == pytest.approx(1.15)
    assert solution.between("s+", "s-") == pytest.approx(0.85)


def test_shares_tell_how_the_whole_follows_a_part() -> None:
    """Cohn's theorem: dR/dr of one resistor is the square of its share of the current."""
    net = network(("a", "b", 6.0), ("a", "m", 2.0), ("m", "b", 1.0))
    step = 1e-6
    stepped = network(("a", "b", 6.0 + step), ("a", "m", 2.0), ("m", "b", 1.0))
    solution = net.solve("a", "b")
    assert solution is not None
    share = solution.share(next(iter(net.named(""))))
    slope = (stepped.resistance("a", "b") - net.resistance("a", "b")) / step
    assert share**2 == pytest.approx(slope, rel=1e-4)


EDGES = st.lists(
    st.tuples(
        st.integers(0, 7),
        st.integers(0, 7),
        st.integers(-3, 9).map(lambda decade: 10.0**decade) | st.floats(1e-3, 1e9),
    ).filter(lambda edge: edge[0] != edge[1]),
    min_size=1,
    max_size=20,
)


def exact(edges: list[tuple[int, int, float]], a: int, b: int) -> float:
    """Eliminate every other node by the star-mesh transformation, in rational arithmetic."""
    siemens: dict[frozenset[int], Fraction] = {}
    for x, y, ohms in edges:
        key = frozenset((x, y))
        siemens[key] = siemens.get(key, Fraction(0)) + 1 / Fraction(ohms)
    for gone in set(range(8)) - {a, b}:
        arms = {min(k - {gone}): siemens.pop(k) for k in list(siemens) if gone in k}
        total = sum(arms.values(), Fraction(0))
        for x, y in combinations(arms, 2):
            key = frozenset((x, y))
            siemens[key] = siemens.get(key, Fraction(0)) + arms[x] * arms[y] / total
    found = siemens.get(frozenset((a, b)))
    return inf if found is None else float(1 / found)


@settings(max_examples=150, deadline=None)
@given(EDGES)
def test_any_network_agrees_with_exact_arithmetic(edges: list[tuple[int, int, float]]) -> None:
    assert network(*edges).resistance(0, 1) == pytest.approx(exact(edges, 0, 1), rel=1e-12)


@settings(max_examples=100, deadline=None)
@given(EDGES)
def test_potentials_fulfil_the_nodal_equations(edges: list[tuple[int, int, float]]) -> None:
    """Kirchhoff's current law at every node, to rounding of the largest current there."""
    solution = network(*edges).solve(0, 1)
    if solution is None:
        return
    for node in range(8):
        flows = [
            (solution.between(a, b) / ohms) * (1 if a == node else -1)
            for a, b, ohms in edges
            if node in (a, b) and solution.between(a, b) == solution.between(a, b)
        ]
        out = {0: 1.0, 1: -1.0}.get(node, 0.0)
        highest = max((1 / ohms for a, b, ohms in edges if node in (a, b)), default=0.0)
        rounding = 1e-13 * (1 + highest * solution.resistance)
        assert sum(flows) == pytest.approx(out if flows else 0.0, abs=rounding)


@settings(max_examples=60, deadline=None)
@given(EDGES)
def test_any_network_agrees_with_another_library(edges: list[tuple[int, int, float]]) -> None:
    """Against networkx.resistance_distance, over the decades that its pseudo-inverse can take."""
    tame = [(a, b, 10.0 ** (np.log10(ohms) % 3)) for a, b, ohms in edges]
    graph = nx.MultiGraph()
    graph.add_nodes_from(range(8))
    for a, b, ohms in tame:
        graph.add_edge(a, b, weight=ohms)
    ours = network(*tame).resistance(0, 1)
    if not nx.has_path(graph, 0, 1):
        assert isinf(ours)
        return
    part = graph.subgraph(nx.node_connected_component(graph, 0))
    theirs = nx.resistance_distance(part, 0, 1, weight="weight", invert_weight=True)
    assert ours == pytest.approx(theirs, rel=1e-6)


@given(st.lists(st.floats(1e-3, 1e9) | st.just(inf), min_size=1, max_size=5))
def test_side_by_side_is_what_the_network_says(ohms: list[float]) -> None:
    assert parallel(*ohms) == pytest.approx(
        network(*(("a", "b", r) for r in ohms)).resistance("a", "b")
    )
