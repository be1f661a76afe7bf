"""Recorded outcomes made into evidence: the certain ones, and what a close verdict leaves open."""

from collections.abc import Mapping
from math import fsum, isfinite
from typing import Final

import msgspec
import numpy as np

from meterlink.errors import UsageError
from meterlink.finding.clauses import WORTH_SAYING
from meterlink.finding.mistakes import unknown
from meterlink.finding.model import Array, Model, Node
from meterlink.finding.shape import UNSAID
from meterlink.quantities.text import plain

Outcome = str | Mapping[str, float]
"""An outcome, or the probability of each outcome that a close verdict leaves open."""

_BY_VALUE: Final = ("short", "below", "in-window", "above", "open")
"""Verdict codes in the order of the resistance."""


class RecordedOutcome(msgspec.Struct, frozen=True):
    """The outcomes of a job, in the model's terms; checks stand in the table's order."""

    evidence: Mapping[str, Array]
    """By check, the relative likelihood of what was seen under each outcome."""
    words: Mapping[str, str]
    """By check, the outcome as a technician would say it."""
    certain: frozenset[str]
    """The checks whose outcome is not left open by a close verdict."""
    unsaid: tuple[str, ...]
    """Checks that were skipped or could not tell."""


def close_verdict(stated: str, probability: float, towards: str | None = None) -> dict[str, float]:
    """Return a close verdict as the probability of each outcome.

    What ``stated`` leaves goes to the verdict ``towards``, where the value lies near that one's
    limit; else to the neighbours in resistance alike.

    Raises:
        UsageError: no such verdict, or a probability outside 0 to 1.
    """
    for verdict in (stated, towards or stated):
        if verdict not in _BY_VALUE:
            raise UsageError(unknown(verdict, "verdict", _BY_VALUE))
    if not 0 <= probability <= 1:
        raise UsageError(f"a probability of {probability:g} makes no sense; give 0 to 1")
    at = _BY_VALUE.index(stated)
    neighbours = (
        [towards] if towards else _BY_VALUE[max(at - 1, 0) : at] + _BY_VALUE[at + 1 : at + 2]
    )
    rest = (1 - probability) / len(neighbours)
    return {stated: probability, **dict.fromkeys(neighbours, rest)}


def record(model: Model, outcomes: Mapping[str, Outcome]) -> RecordedOutcome:
    """Return ``outcomes``, by check, in the terms of ``model``.

    Probabilities of a close verdict are taken as the relative likelihood of the reading under each
    outcome, which is what they are as long as the meter alone made them.

    Raises:
        UsageError: a check or an outcome that the table does not have, or a probability that
            makes no sense.
    """
    for check in outcomes:
        if check not in model.nodes:
            raise UsageError(unknown(check, "check", model.nodes))
    evidence: dict[str, Array] = {}
    words: dict[str, str] = {}
    certain = set()
    unsaid = []
    for name, node in model.nodes.items():
        said = outcomes.get(name)
        if said is None:
            continue
        if isinstance(said, str):
            if said in UNSAID:
                unsaid.append(name)
                continue
            words[name] = _outcome(node, said)
            evidence[name] = node.certain(words[name])
            certain.add(name)
        else:
            evidence[name] = _weights(node, said)
            words[name] = _either(node, evidence[name])
    return RecordedOutcome(evidence, words, frozenset(certain), tuple(unsaid))


def _outcome(node: Node, said: str) -> str:
    outcome = node.declared.reads_as.get(said, said)
    if outcome not in node.outcomes:
        raise UsageError(f"check «{node.name}»: {unknown(said, 'outcome', node.outcomes)}")
    return outcome


def _weights(node: Node, said: Mapping[str, float]) -> Array:
    weights = np.zeros(len(node.outcomes))
    for word, probability in said.items():
        if not (isfinite(probability) and probability >= 0):
            raise UsageError(
                f"check «{node.name}»: a probability of {probability:g} for «{plain(word)}» makes "
                "no sense; give 0 to 1"
            )
        weights[node.outcomes.index(_outcome(node, word))] += probability
    total = fsum(weights)
    if total <= 0:
        raise UsageError(f"check «{node.name}»: no outcome has a probability above 0")
    result: Array = weights / total
    return result


def _either(node: Node, weights: Array) -> str:
    """Say which outcomes a close verdict leaves, the likelier first."""
    order = np.argsort(-weights, kind="stable")
    return " or ".join(node.outcomes[i] for i in order if weights[i] >= WORTH_SAYING)
