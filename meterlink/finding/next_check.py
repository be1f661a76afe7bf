"""The next best check: what it is expected to tell, for what it costs.

What it tells is counted about the places at fault, which are what gets mended: to know which of
an armature's windings is broken is worth nothing to somebody who has to renew the armature.
"""

from collections.abc import Iterable, Sequence
from typing import Final

import msgspec
import numpy as np

from meterlink.finding.model import Array, Model, Node, NodeEvidence
from meterlink.finding.posterior import Belief, Stage

LEAST_GAIN: Final = 0.05
"""Bits; a check that promises less is not worth proposing."""


class Prospect(msgspec.Struct, frozen=True):
    """A check that is open or worth repeating, and what it promises."""

    node: Node
    again: bool
    """It was done before."""
    bits: float
    """Expected information about the places at fault."""
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
    """Probability of each hypothesis after each outcome, shaped outcome, hypothesis."""

    @property
    def rate(self) -> float:
        """Bits for each minute of cost."""
        return self.bits / self.cost


def prospects(
    model: Model,
    evidence: NodeEvidence | Sequence[Stage],
    *,
    done: Iterable[str] = (),
    least: float = LEAST_GAIN,
    again: bool = True,
) -> list[Prospect]:
    """Return the checks that promise ``least`` bits or more, the best for its cost first.

    ``done`` names checks that need no proposing though there is no evidence from them, such as
    those skipped. Checks that close a job are never proposed, nor a second trial before the first.
    With ``again`` checks that were done are among them, where a slip would explain much.
    """
    belief = Belief(model, evidence)
    away = {*belief.evidence, *done}
    ready: set[str] = set()
    stage: Belief | None = belief
    while stage is not None:
        ready |= {n for check in stage.evidence for n in model.nodes[check].declared.needs}
        stage = stage.before
    # Where hands never slip, to repeat a check would show the same again.
    again = again and bool(model.slip_rates.any())
    found = [
        _prospect(belief, node, ready)
        for node in belief.model.nodes.values()
        if (node.name not in away or (again and node.name in belief.evidence))
        and not node.declared.closing
        and (belief.before is not None or not node.declared.after_mending)
        and node.declared.after in {"", *away}
    ]
    worth = [prospect for prospect in found if prospect.bits >= least]
    return sorted(worth, key=lambda prospect: -prospect.rate)


def _prospect(belief: Belief, node: Node, ready: set[str]) -> Prospect:
    model = belief.model
    joint = belief.outcome_shares(node)
    chances = joint.sum(axis=1)
    check = node.declared
    setups = [model.table.setups[name] for name in check.needs if name not in ready]
    minutes = check.minutes + sum(setup.minutes for setup in setups)
    return Prospect(
        node=node,
        again=node.name in belief.evidence,
        bits=information(model.by_set(joint.T)),
        minutes=minutes,
        setups=tuple(setup.say for setup in setups),
        parts=check.parts,
        cost=minutes + check.parts / model.table.minute_cost,
        chances=chances,
        then=joint / chances[:, None],
    )


def information(joint: Array) -> float:
    """Return the mutual information of the two variables of ``joint``, bits, never negative."""
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    seen = joint > 0
    return max(0.0, float((joint[seen] * np.log2(joint[seen] / apart[seen])).sum()))
