"""How firm a finding is: what becomes of it when the judged numbers were twice or half as large.

Nearly every number of the fault table is a judgement. So all of them are doubled or halved at
random, again and again, and it is counted in how many of the draws the same places are named, and
the same check proposed next.
"""

from collections import Counter
from collections.abc import Collection, Sequence
from typing import Final

import msgspec
import numpy as np

from meterlink.finding.model import Model
from meterlink.finding.next_check import prospects
from meterlink.finding.posterior import Stage, named_set, posterior

SEED: Final = 20261125
"""The same finding is always shaken in the same way."""


class Shaken(msgspec.Struct, frozen=True):
    """What came out of the draws, each answer with how often it did; the answer as it is first."""

    named: tuple[tuple[str, int], ...]
    """Places that were named."""
    next: tuple[tuple[str, int], ...]
    """Checks that were proposed next; empty where there was none."""


def shake(model: Model, stages: Sequence[Stage], draws: int, done: Collection[str] = ()) -> Shaken:
    """Return what is named and proposed over ``draws`` tables with other numbers.

    ``done``: checks that are not proposed, as they were skipped or could not tell.
    """
    named: Counter[str] = Counter()
    checks: Counter[str] = Counter()
    rng = np.random.default_rng(SEED)
    for _ in range(draws):
        other = model.shaken(rng)
        named[_named(other, stages)] += 1
        checks[_next(other, stages, done)] += 1
    return Shaken(
        _first(_named(model, stages), named),
        _first(_next(model, stages, done), checks),
    )


def _named(model: Model, stages: Sequence[Stage]) -> str:
    return " and ".join(sorted(named_set(model, posterior(model, stages))))


def _next(model: Model, stages: Sequence[Stage], done: Collection[str]) -> str:
    found = prospects(model, stages, done=done)
    return found[0].node.name if found else ""


def _first(answer: str, counted: Counter[str]) -> tuple[tuple[str, int], ...]:
    """Return the answer itself, then the others by how often they came out."""
    others = [(other, count) for other, count in counted.most_common() if other != answer]
    return ((answer, counted[answer]), *others)
