"""Bayes' rule on the model: probability of each hypothesis, and what each outcome did to it.

Source of the method: any text on Bayesian networks; the weight of an outcome is I. J. Good's
"weight of evidence" (Probability and the Weighing of Evidence, 1950; cited from memory).
"""

from collections.abc import Mapping, Sequence
from functools import cached_property, partial
from typing import Final

import msgspec
import numpy as np

from meterlink.finding.model import Array, Model, Node, NodeEvidence, Shown

SURE: Final = 0.95
"""From this probability on the place of a fault is found; the same as for a clear verdict."""


ENOUGH: Final = 0.99
"""Until each place of the set is that probable, the search goes on while a check still tells."""


class EvidenceStage(msgspec.Struct, frozen=True):
    """What was seen between one mend and the next."""

    mended: frozenset[str] = frozenset()
    """Places that had been put right by then."""
    evidence: NodeEvidence = {}


class Belief:
    """What is known after the evidence: the joint probability of hypotheses and slip rates.

    With stages, checks are open on the engine as it is in the last.
    """

    def __init__(self, model: Model, evidence: NodeEvidence | Sequence[EvidenceStage]) -> None:
        stages = [EvidenceStage(evidence=evidence)] if isinstance(evidence, Mapping) else evidence
        *earlier, last = stages or [EvidenceStage()]
        before = Belief(model, earlier) if earlier else None
        self._whole = model
        self.model = model.after(last.mended)
        self.evidence = last.evidence
        self.before = before
        """The same before the last mend; None where nothing was mended."""
        self._messages: dict[str, Array | None] = {}
        self._families: dict[str, Array] = {}
        """By the root of each family of checks of which something is known, its log likelihood."""
        for root in self.model.roots:
            if any(node.name in self.evidence for node in root.family()):
                say = partial(self._of_family, root)
                self._families[root.name] = self.model.remembered(self._key(root), say)
        start = np.log(model.slip_shares)[:, None] + np.log(model.prior)[None, :]
        self.log_joint: Array = sum(
            self._families.values(), start if before is None else before.log_joint
        )
        """Shaped slip rate, hypothesis; up to a constant."""

    @cached_property
    def shares(self) -> Array:
        """Probability of each hypothesis."""
        result: Array = normalised(self.log_joint).sum(axis=0)
        return result

    @property
    def suspects(self) -> Array:
        """Probability of each suspect to be at fault, alone or beside another."""
        result: Array = self.model.has @ self.shares
        return result

    def _message(self, node: Node) -> Array | None:
        """Return what ``node`` and the checks after it say; None where nothing is known of them."""
        if node.name not in self._messages:
            below = self._below(node)
            known = self.evidence.get(node.name)
            self._messages[node.name] = (
                None if known is None and not below else node.send(self._known(node), below)
            )
        return self._messages[node.name]

    def _of_family(self, root: Node) -> Array:
        message = root.send(self._known(root), self._below(root))
        result: Array = np.log(message[0, 0])
        return result

    def _key(self, root: Node) -> tuple[object, ...]:
        """Return what is known of a family, such that it can be looked up."""
        known = ((node.name, self.evidence.get(node.name)) for node in root.family())
        return root.name, *((name, seen.tobytes()) for name, seen in known if seen is not None)

    def _below(self, node: Node, but: Node | None = None) -> list[Array]:
        messages = (self._message(child) for child in node.children if child is not but)
        return [message for message in messages if message is not None]

    def _known(self, node: Node) -> Array:
        known = self.evidence.get(node.name)
        nothing = np.ones((len(self.model.slip_rates), len(node.outcomes)))
        return nothing if known is None else known

    def with_what(self, node: Node, seen: Array) -> Array:
        """Return the joint probability of hypotheses and each of several things that were seen.

        ``seen``: thing, slip rate, outcome, all that is known of ``node`` then. Shaped thing,
        hypothesis, and scaled such that what is now known is 1 in all.
        """
        root = self.model.root(node)
        key = (node.name, seen.tobytes(), *self._key(root))
        message = self.model.remembered(key, lambda: self._up_from(node, seen))
        rest_log = self.log_joint - self._families.get(root.name, 0.0)
        top = rest_log.max()
        total = np.exp(self.log_joint - top).sum()
        result: Array = np.einsum("sh,tsh->th", np.exp(rest_log - top), message) / total
        return result

    def _up_from(self, node: Node, seen: Array) -> Array:
        """Return the likelihood of each of several things seen on ``node``, with its family's."""
        message = node.send(seen, self._below(node))
        above = self.model.above(node)
        while above is not None:
            rest = self._below(above, but=node)
            message = above.send(self._known(above)[None], [message, *rest])
            node, above = above, self.model.above(above)
        result: Array = message[0, 0].copy()
        return result

    def outcome_shares(self, node: Node) -> Array:
        """Return the joint probability of what doing ``node`` now would be recorded as.

        Shaped recorded outcome, hypothesis. Where it was done before it is done again, on the same
        engine, by hands that slip as before.
        """
        known = self.evidence.get(node.name)
        return self.with_what(node, node.channel if known is None else node.channel * known[None])

    def wrong(self, shown: Mapping[str, Sequence[Shown]]) -> dict[str, float]:
        """Return by check how probable it is that its newest outcome was recorded wrongly.

        ``shown``: of each check of the last stage, what every time it was done showed.
        """
        result = {}
        for name, times in shown.items():
            node = self.model.nodes[name]
            before = [node.recorded(*seen) for seen in times[:-1]]
            right = np.prod([_right(times[-1]), *before], axis=0)
            result[name] = max(0.0, 1.0 - float(self.with_what(node, right[None]).sum()))
        return result

    def slipped(self, shown: Sequence[Mapping[str, Sequence[Shown]]]) -> float:
        """Return how probable it is that some outcome of any stage was recorded wrongly.

        ``shown``: by stage and check, what every time it was done showed.
        """
        total = np.logaddexp.reduce(self.log_joint, axis=None)
        stages: list[EvidenceStage] = []
        belief: Belief | None = self
        for each in reversed(shown):
            if belief is not None:
                right = {
                    name: np.prod([_right(seen) for seen in times], axis=0)
                    for name, times in each.items()
                }
                stages.insert(0, EvidenceStage(belief.model.mended, right))
                belief = belief.before
        with np.errstate(divide="ignore"):
            right_joint = Belief(self._whole, stages).log_joint
        share = np.exp(np.logaddexp.reduce(right_joint, axis=None) - total)
        return max(0.0, 1.0 - float(share))


def _right(seen: Shown) -> Array:
    """Return the likelihood of a look that was not recorded wrongly."""
    result: Array = (1 - seen.slips)[:, None] * seen.likely[None, :]
    return result


class Taken(msgspec.Struct, frozen=True):
    """One recorded check, taken in after those that stand before it in the table."""

    check: str
    weight: Array
    """Change of each fault's log odds, bits: what this outcome speaks for it (or against)."""


def normalised(log_joint: Array) -> Array:
    """Return the probabilities that are proportional to the exponentials of ``log_joint``."""
    shares = np.exp(log_joint - log_joint.max())
    result: Array = shares / shares.sum()
    return result


def posterior(model: Model, evidence: NodeEvidence | Sequence[EvidenceStage]) -> Array:
    """Return the probability of each hypothesis of ``model`` given ``evidence``."""
    return Belief(model, evidence).shares


def log_odds(model: Model, log_joint: Array) -> Array:
    """Return each suspect's natural log odds to be at fault, alone or beside another."""
    logs = np.logaddexp.reduce(log_joint, axis=0)
    found = np.empty(len(model.has))
    for suspect, has in enumerate(model.has > 0):
        found[suspect] = np.logaddexp.reduce(logs[has]) - np.logaddexp.reduce(logs[~has])
    return found


def take_in(
    model: Model,
    evidence: NodeEvidence,
    earlier: Sequence[EvidenceStage] = (),
    mended: frozenset[str] = frozenset(),
) -> list[Taken]:
    """Take the outcomes in one by one, in the table's order, whatever order they came in.

    ``earlier`` stages are known before, and the places ``mended`` are put right. The weights of a
    fault add up to its log odds after all outcomes less those before any.
    """
    before_it: dict[str, Array] = {}

    def odds_now() -> Array:
        stages = [*earlier, EvidenceStage(mended, dict(before_it))]
        return log_odds(model, Belief(model, stages).log_joint)

    odds = odds_now()
    result = []
    for check, seen in evidence.items():
        before_it[check] = seen
        before, odds = odds, odds_now()
        result.append(Taken(check, (odds - before) / np.log(2)))
    return result


def named_set(model: Model, shares: Array) -> Mapping[str, float]:
    """Return the places of the most probable set, the most probable first, each with its own."""
    by_set, by_place = model.by_set(shares), model.by_place(shares)
    chosen = sorted(model.sets[int(by_set.argmax())], key=lambda place: -float(by_place[place]))
    return {model.places[place]: float(by_place[place]) for place in chosen}


def is_sure(named: Mapping[str, float]) -> bool:
    """Return whether every place of a set is found."""
    return min(named.values()) >= SURE


def is_enough(model: Model, shares: Array) -> bool:
    """Return whether the search can end: the set is found, and hardly anything else is left."""
    named = named_set(model, shares)
    return min(named.values()) >= ENOUGH and float(model.by_set(shares).max()) >= SURE
