"""Bayes' rule on the model: probability of each fault, and what each outcome did to it.

Source of the method: any text on Bayesian networks; the weight of an outcome is I. J. Good's
"weight of evidence" (Probability and the Weighing of Evidence, 1950; cited from memory).
"""

from typing import Final

import msgspec
import numpy as np

from meterlink.finding.model import Array, Model, Node, NodeEvidence
from meterlink.finding.outcomes import RecordedOutcome

SURE: Final = 0.95
"""From this probability on the place of a fault is found; the same as for a clear verdict."""


class Taken(msgspec.Struct, frozen=True):
    """One recorded check, taken in after those that stand before it in the table."""

    check: str
    expected: Array
    """Probability of each outcome given the earlier ones, shaped fault, outcome."""
    seen: Array
    """Probability of what was seen, given the earlier outcomes, one for each fault."""
    weight: Array
    """Change of each fault's log odds, bits: what this outcome speaks for it (or against)."""


def posterior(model: Model, evidence: NodeEvidence) -> Array:
    """Return the probability of each suspect of ``model`` given ``evidence``; they sum to one."""
    return normalised(np.log(model.prior) + model.log_likelihood(evidence))


def normalised(log_joint: Array) -> Array:
    """Return the probabilities that are proportional to the exponentials of ``log_joint``."""
    shares = np.exp(log_joint - log_joint.max())
    result: Array = shares / shares.sum()
    return result


def log_odds(log_joint: Array) -> Array:
    """Return each suspect's log odds against all others together, natural."""
    others = np.tile(log_joint, (len(log_joint), 1))
    np.fill_diagonal(others, -np.inf)
    result: Array = log_joint - np.logaddexp.reduce(others, axis=1)
    return result


def outcome_shares(model: Model, node: Node, evidence: NodeEvidence) -> Array:
    """Return the probability of each outcome of ``node``, shaped suspect, outcome.

    Given each suspect and the evidence on other checks; evidence on ``node`` itself is passed over.
    """
    others = {check: seen for check, seen in evidence.items() if check != node.name}
    root = model.tree(node.name)
    joint = np.stack(
        [root.message({**others, node.name: node.certain(o)})[:, 0] for o in node.outcomes], axis=1
    )
    result: Array = joint / joint.sum(axis=1, keepdims=True)
    return result


def take_in(model: Model, recorded: RecordedOutcome) -> list[Taken]:
    """Take the outcomes in one by one, in the table's order, whatever order they came in.

    The weights of a fault add up to its log odds after all outcomes less those before any.
    """
    before_it: dict[str, Array] = {}
    log_joint = np.log(model.prior)
    odds = log_odds(log_joint)
    result = []
    for check, weights in recorded.evidence.items():
        expected = outcome_shares(model, model.nodes[check], before_it)
        seen: Array = expected @ weights
        log_joint = log_joint + np.log(seen)
        before, odds = odds, log_odds(log_joint)
        result.append(Taken(check, expected, seen, (odds - before) / np.log(2)))
        before_it[check] = weights
    return result
