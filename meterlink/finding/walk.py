"""Following the advice to the end: what it takes to find a fault, check by check.

The engine is behind ``answer``: a virtual engine under practice, or outcomes drawn from the table.
So a trainee's way can be set beside the advised one on the very same engine.
"""

from collections.abc import Callable, Iterable

import msgspec

from meterlink.finding.model import Model, NodeEvidence
from meterlink.finding.next_check import Prospect, prospects
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import SURE, posterior

Pick = Callable[[Model, NodeEvidence, Iterable[str]], Prospect | None]
"""Chooses the next check, given the evidence and the checks done; None ends the walk."""


class Walk(msgspec.Struct, frozen=True, kw_only=True):
    """The checks done one after another, and where they led."""

    checks: tuple[str, ...]
    minutes: float
    """With the setups."""
    parts: float
    place: str
    """The most probable one at the end."""
    probability: float
    """That the fault is there."""
    fault: str
    """The most probable one at the end."""
    sure: bool
    """It ended because the place was found, not because nothing was left to try."""


def best(model: Model, evidence: NodeEvidence, done: Iterable[str]) -> Prospect | None:
    """Pick the check that tells most for its cost."""
    return next(iter(prospects(model, evidence, done=done)), None)


def in_order(*checks: str) -> Pick:
    """Return a picker that goes by a fixed order, such as that of a work card."""

    def pick(model: Model, evidence: NodeEvidence, done: Iterable[str]) -> Prospect | None:
        still_open = prospects(model, evidence, done=done, least=0.0)
        by_name = {prospect.node.name: prospect for prospect in still_open}
        return next((by_name[check] for check in checks if check in by_name), None)

    return pick


def follow(model: Model, answer: Callable[[str], str], pick: Pick = best) -> Walk:
    """Do the checks that ``pick`` chooses until its place is found or nothing is left that tells.

    ``answer`` does a check, by its name, and returns the outcome; ``skipped`` and ``cannot-tell``
    are outcomes too, and cost their minutes.
    """
    said: dict[str, str] = {}
    minutes = parts = 0.0
    evidence: NodeEvidence = {}
    while True:
        shares = posterior(model, evidence)
        by_place = model.by_place(shares)
        sure = bool(by_place.max() >= SURE)
        chosen = None if sure else pick(model, evidence, said)
        if chosen is None:
            break
        said[chosen.node.name] = answer(chosen.node.name)
        minutes, parts = minutes + chosen.minutes, parts + chosen.parts
        evidence = record(model, said).evidence
    return Walk(
        checks=tuple(said),
        minutes=minutes,
        parts=parts,
        place=model.places[int(by_place.argmax())],
        probability=float(by_place.max()),
        fault=model.suspects[int(shares.argmax())].name,
        sure=sure,
    )
