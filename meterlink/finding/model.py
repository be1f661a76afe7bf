"""The fault table made ready for one job: its complaint, and the stop switches the engine has.

The model is a Bayesian network of one fault node, and under it a forest of checks: each check
hangs on the fault, and on at most one earlier check (``after``). A second trial of much the same
thing, such as the spark with the stop circuit off, thus doesn't count twice.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from meterlink.errors import UsageError
from meterlink.finding.clauses import either
from meterlink.finding.mistakes import unknown
from meterlink.finding.shape import Check, Fault, FaultTable, Row, of_part

Array = NDArray[np.float64]
NodeEvidence = Mapping[str, Array]
"""By check, the relative likelihood of what was seen under each of its outcomes."""


class Node:
    """One check of the model."""

    def __init__(
        self, name: str, kind: str, declared: Check, shares: Array, part: str, words: str
    ) -> None:
        self.name = name
        self.kind = kind
        """The check's name in the table; another than ``name`` where it is done for each part."""
        self.declared = declared
        self.part = part
        """The part that it looks at, where it is done for each of several."""
        self.shares = shares
        """Probability of each outcome, shaped fault, outcome of the earlier check (1 where there
        is none), outcome."""
        self.say = _put(declared.say, words)
        self.ask = _put(declared.ask, words)
        self._says = {outcome: _put(said, words) for outcome, said in declared.says.items()}
        self.children: list[Node] = []

    @property
    def outcomes(self) -> tuple[str, ...]:
        """The outcomes, in the order of the last axis of ``shares``."""
        return self.declared.outcomes

    def certain(self, outcome: str) -> Array:
        """Return the evidence that ``outcome`` was seen."""
        return np.array([1.0 if other == outcome else 0.0 for other in self.outcomes])

    def said(self, outcome: str) -> str:
        """Return an outcome, or several with «or» between, as a clause.

        Where the table has none, it is the check's name with the outcome's.
        """
        return either(
            [
                self._says.get(one) or f"{self.say}: {one.replace('-', ' ')}"
                for one in outcome.split(" or ")
            ]
        )

    def message(self, evidence: NodeEvidence) -> Array:
        """Return the likelihood of the evidence on this check and those after it.

        Shaped fault, outcome of the earlier check.
        """
        inside = np.ones((self.shares.shape[0], self.shares.shape[2]))
        if self.name in evidence:
            inside *= evidence[self.name]
        for child in self.children:
            inside *= child.message(evidence)
        result: Array = np.einsum("fab,fb->fa", self.shares, inside)
        return result

    def family(self) -> Iterator["Node"]:
        """Yield this check and every one after it."""
        yield self
        for child in self.children:
            yield from child.family()


class Suspect:
    """One fault of the model; a fault of several parts is several of these."""

    def __init__(self, name: str, declared: Fault, prior: float, part: str, words: str) -> None:
        self.name = name
        self.declared = declared
        self.prior = prior
        self.part = part
        """The check of this very part, where the fault is one of several parts."""
        self.say = _put(declared.say, words)
        self.place = _put(declared.place, words)
        self.mend = _put(declared.mend, words)

    def elsewhere(self, node: Node) -> bool:
        """Return whether ``node`` looks at another part of the kind than the one at fault."""
        kind = node.declared.each_of or node.kind
        return kind == self.declared.each and node.part != self.part


class Model:
    """Faults with their priors and checks with their probabilities, as arrays.

    The same for every job with the same complaint and switches. Immutable by convention.
    """

    def __init__(self, table: FaultTable, complaint: str, parts: Sequence[str] = ()) -> None:
        """Make ``table`` ready.

        ``parts`` names those parts with a check each (stop switches) that the engine has; of a
        kind of which none is named, the first that the table lists is taken to be there.

        Raises:
            UsageError: the table has no such complaint or part.
        """
        if complaint not in table.complaints:
            raise UsageError(unknown(complaint, "complaint", table.complaints))
        self.table = table
        self.complaint = complaint
        self.parts = _fitted(table, parts)
        self.suspects = _suspects(table, complaint, self.parts)
        priors = np.array([suspect.prior for suspect in self.suspects])
        self.prior: Array = priors / priors.sum()
        self.places = tuple(dict.fromkeys(suspect.place for suspect in self.suspects))
        """What can get mended, in the table's order."""
        self.nodes = {node.name: node for node in self._nodes()}
        self.roots: list[Node] = []
        self._tree: dict[str, Node] = {}
        for node in self.nodes.values():
            after = node.declared.after
            (self.nodes[after].children if after else self.roots).append(node)
        for root in self.roots:
            self._tree |= dict.fromkeys((node.name for node in root.family()), root)

    def _nodes(self) -> Iterator[Node]:
        for kind, check in self.table.checks.items():
            fitted = self.parts.get(check.each_of or kind, ("",))
            for name, part in self.table.done_for(kind).items():
                if part in fitted:
                    yield self._node(name, kind, part)

    def _node(self, name: str, kind: str, part: str) -> Node:
        """Return a check with its rows under every suspect, filled up from ``sound``."""
        check, contexts = self.table.checks[kind], self.table.contexts(kind)
        shape = (len(self.suspects), len(contexts), len(check.outcomes))
        words = self.table.checks[check.each_of or kind].each.get(part, "")
        node = Node(name, kind, check, np.empty(shape), part, words)
        for i, suspect in enumerate(self.suspects):
            for j, context in enumerate(contexts):
                shares = (
                    check.sound.contexts[context]
                    if suspect.elsewhere(node)
                    else self.table.distribution(suspect.declared, kind, self.complaint, context)
                )
                node.shares[i, j] = [shares[outcome] for outcome in check.outcomes]
        return node

    def row(self, suspect: Suspect, node: Node) -> Row:
        """Return the row of the table that speaks of ``node`` under ``suspect``."""
        if suspect.elsewhere(node):
            return node.declared.sound
        fault = suspect.declared
        own = fault.when.get(self.complaint, {}).get(node.kind) or fault.gives.get(node.kind)
        return own or node.declared.sound

    def by_place(self, shares: Array) -> Array:
        """Return ``shares``, one for each suspect on the first axis, summed up by place."""
        at = [self.places.index(suspect.place) for suspect in self.suspects]
        result = np.zeros((len(self.places), *shares.shape[1:]))
        np.add.at(result, at, shares)
        return result

    def tree(self, check: str) -> Node:
        """Return the root of the checks that ``check`` hangs together with."""
        return self._tree[check]

    def log_likelihood(self, evidence: NodeEvidence) -> Array:
        """Return the natural logarithm of the evidence's likelihood, one for each suspect."""
        result = np.zeros(len(self.suspects))
        for root in self.roots:
            if any(node.name in evidence for node in root.family()):
                result += np.log(root.message(evidence)[:, 0])
        return result


def _fitted(table: FaultTable, parts: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Return by kind of check the parts that the engine has, in the table's order."""
    kinds = {name: check.each for name, check in table.checks.items() if check.each}
    known = [part for each in kinds.values() for part in each]
    for part in parts:
        if part not in known:
            raise UsageError(unknown(part, "part with a check of its own", known))
    return {
        kind: tuple(part for part in each if part in parts) or (next(iter(each)),)
        for kind, each in kinds.items()
    }


def _suspects(
    table: FaultTable, complaint: str, fitted: Mapping[str, tuple[str, ...]]
) -> list[Suspect]:
    found = []
    for name, fault in table.faults.items():
        if complaint not in fault.prior:
            continue
        prior = fault.prior[complaint]
        if not fault.each:
            found.append(Suspect(name, fault, prior, "", ""))
            continue
        parts = fitted[fault.each]
        total = sum(fault.shares[part] for part in parts)
        for part in parts:
            own = of_part(name, fault.each, part)
            words = table.checks[fault.each].each[part]
            found.append(Suspect(own, fault, prior * fault.shares[part] / total, part, words))
    return found


def _put(sentence: str, words: str) -> str:
    """Put the part's name where the sentence leaves room for it."""
    return sentence.replace("{part}", words)
