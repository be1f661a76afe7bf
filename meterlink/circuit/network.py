"""A network of resistors, solved by nodal analysis.

The matrix of conductances between the nodes that a current can reach is reduced, one node after
another, to the two that the current flows between (Kron reduction, in circuits the star-mesh
transformation); going back, each node's potential is the mean of those around it, weighted by
their conductances. Everything else is read off the potentials: resistance, potential between any
two nodes (four-wire measurement), the share of the current in each element.

It is Gaussian elimination of the nodal equations, written such that nothing is ever subtracted. So
a result is good to nearly all digits of a double, even where milliohms and gigohms meet in one
network; solving the grounded equations as they stand loses a digit for every decade between them.
"""

from collections.abc import Hashable, Iterator
from math import inf, isinf
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

Node = Hashable
"""Anything that names a place: two elements meet where they name the same node."""


class Element(msgspec.Struct, frozen=True):
    """A resistor between two nodes."""

    a: Node
    b: Node
    ohms: float
    """Above zero and finite: joins and gaps are not elements."""
    name: str = ""
    """What it stands for, for asking after its share of the current."""


class Solution:
    """Potentials everywhere in a network while one ampere flows from one node to another."""

    def __init__(
        self, network: "Network", start: Node, end: Node, volts: dict[Node, float]
    ) -> None:
        self._network = network
        self._volts = volts
        self.resistance: Final = self.between(start, end)
        """Ohms between the two nodes that the current flows between."""

    def between(self, a: Node, b: Node) -> float:
        """Return the volts between two nodes per ampere; not-a-number where one floats."""
        high, low = self._network.merged(a), self._network.merged(b)
        if high == low:
            return 0.0
        nan = float("nan")
        return self._volts.get(high, nan) - self._volts.get(low, nan)

    def share(self, element: Element) -> float:
        """Return the current in ``element``, from its ``a`` to its ``b``, per ampere.

        By the square of it, a change of this element changes the resistance of the whole
        (Cohn's theorem); by the same square, a coil in it lends its inductance to the whole.
        """
        drop = self.between(element.a, element.b)
        return drop / element.ohms if drop == drop else 0.0


class Network:
    """Resistors between nodes. Build it with ``connect`` and ``join``, then ask."""

    def __init__(self) -> None:
        self._elements: list[Element] = []
        self._joined: dict[Node, Node] = {}

    def connect(self, a: Node, b: Node, ohms: float, name: str = "") -> None:
        """Put a resistor between two nodes: zero joins them, infinite leaves them apart.

        Raises:
            ValueError: ``ohms`` is negative or not a number.
        """
        if not ohms >= 0:
            raise ValueError(f"a resistor of {ohms} ohm between {a} and {b}")
        if ohms == 0:
            self.join(a, b)
        elif not isinf(ohms):
            self._elements.append(Element(a, b, ohms, name))

    def join(self, a: Node, b: Node) -> None:
        """Make two nodes one: a wire without resistance."""
        kept, gone = self.merged(a), self.merged(b)
        if kept != gone:
            self._joined[gone] = kept

    def merged(self, node: Node) -> Node:
        """Return the node that stands for ``node`` and all that it is joined to."""
        while node in self._joined:
            node = self._joined[node]
        return node

    def named(self, name: str) -> Iterator[Element]:
        """Yield the elements called ``name``."""
        return (element for element in self._elements if element.name == name)

    def resistance(self, a: Node, b: Node) -> float:
        """Return the ohms between two nodes; infinite where no path leads from one to the other."""
        solution = self.solve(a, b)
        return inf if solution is None else solution.resistance

    def solve(self, start: Node, end: Node) -> Solution | None:
        """Return the potentials for one ampere from ``start`` to ``end``; None without a path."""
        top, ground = self.merged(start), self.merged(end)
        if top == ground:
            return Solution(self, start, end, {top: 0.0})
        ends = [(self.merged(e.a), self.merged(e.b), 1 / e.ohms) for e in self._elements]
        reached = _reached(top, ends)
        if ground not in reached:
            return None
        order = [top, ground, *(node for node in reached if node not in (top, ground))]
        row = {node: index for index, node in enumerate(order)}
        siemens = np.zeros((len(order), len(order)))
        for a, b, conductance in ends:
            if a != b and a in reached:
                siemens[row[a], row[b]] += conductance
                siemens[row[b], row[a]] += conductance
        volts = dict(zip(order, _potentials(siemens), strict=True))
        return Solution(self, start, end, volts)


def _potentials(siemens: NDArray[np.float64]) -> list[float]:
    """Return the potential of each node while one ampere flows from the first to the second.

    ``siemens`` holds the conductance between each two nodes, and is used up; its diagonal has no
    meaning. Every node is connected to the first.
    """
    last = len(siemens)
    for gone in range(last - 1, 1, -1):
        star = siemens[gone, :gone]
        siemens[:gone, :gone] += np.outer(star, star / star.sum())
    volts = np.zeros(last)
    volts[0] = 1 / siemens[0, 1]
    for node in range(2, last):
        star = siemens[node, :node]
        volts[node] = star @ volts[:node] / star.sum()
    found: list[float] = volts.tolist()
    return found


def _reached(start: Node, ends: list[tuple[Node, Node, float]]) -> dict[Node, None]:
    """Return the nodes that a current from ``start`` can reach, in a stable order."""
    beside: dict[Node, list[Node]] = {}
    for a, b, _ in ends:
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    reached: dict[Node, None] = {start: None}
    waiting = [start]
    while waiting:
        for node in beside.get(waiting.pop(), ()):
            if node not in reached:
                reached[node] = None
                waiting.append(node)
    return reached
