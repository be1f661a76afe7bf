"""The next best check: what it is expected to tell, for what it costs.

What it tells is counted about the place of the fault, which is what gets mended: to know which of
an armature's windings is broken is worth nothing to somebody who has to renew the armature.
"""

from collections.abc import Iterable
from typing import Final

import msgspec
import numpy as np

from meterlink.finding.model import Array, Model, Node, NodeEvidence
from meterlink.finding.posterior import outcome_shares, posterior

LEAST_GAIN: Final = 0.02
"""Bits; a check that promises less is not worth proposing."""


class Prospect(msgspec.Struct, frozen=True):
    """A check that was not done yet, and what it promises."""

    node: Node
    bits: float
    """Expected information about the place of the fault."""
    minutes: float
    """Including the setups that still have to be done."""
    setups: tuple[str, ...]
    """Those, in words."""
    parts: float
    cost: float
    """Minutes, and what the parts cost in minutes."""
    chances: Array
    """Probability of each outcome."""
    then: Array
    """Probability of each suspect after each outcome, shaped outcome, suspect."""

    @property
    def rate(self) -> float:
        """Bits for each minute of cost."""
        return self.bits / self.cost


def prospects(
    model: Model, evidence: NodeEvidence, *, done: Iterable[str] = (), least: float = LEAST_GAIN
) -> list[Prospect]:
    """Return the open checks that promise ``least`` bits or more, the best for its cost first.

    ``done`` names checks that need no proposing though there is no evidence from them, such as
    those skipped. Checks that close a job are never proposed, nor a second trial before the first.
    """
    away = {*evidence, *done}
    ready = {setup for check in evidence for setup in model.nodes[check].declared.needs}
    now = posterior(model, evidence)
    found = [
        _prospect(model, node, evidence, now, ready)
        for node in model.nodes.values()
        if node.name not in away
        and not node.declared.closing
        and node.declared.after in {"", *away}
    ]
    worth = [prospect for prospect in found if prospect.bits >= least]
    return sorted(worth, key=lambda prospect: -prospect.rate)


def _prospect(
    model: Model, node: Node, evidence: NodeEvidence, now: Array, ready: set[str]
) -> Prospect:
    joint = now[:, None] * outcome_shares(model, node, evidence)
    chances = joint.sum(axis=0)
    check = node.declared
    setups = [model.table.setups[name] for name in check.needs if name not in ready]
    minutes = check.minutes + sum(setup.minutes for setup in setups)
    return Prospect(
        node=node,
        bits=information(model.by_place(joint)),
        minutes=minutes,
        setups=tuple(setup.say for setup in setups),
        parts=check.parts,
        cost=minutes + check.parts / model.table.minute_cost,
        chances=chances,
        then=(joint / chances).T,
    )


def information(joint: Array) -> float:
    """Return the mutual information of the two variables of ``joint``, bits, never negative."""
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    seen = joint > 0
    return max(0.0, float((joint[seen] * np.log2(joint[seen] / apart[seen])).sum()))
