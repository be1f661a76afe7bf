"""The verdict on a corrected value, with its probability.

The verdict is that of the best estimate; its probability is that of the true value lying in the
same region (JCGM 106:2012). A verdict is clear from a probability of 0.95.
"""

from math import isinf
from typing import Final

import msgspec

from meterlink.events import Limit, Verdict
from meterlink.judging.advice import Situation, advise, below_nought
from meterlink.judging.conformity import probabilities_between, probability_between
from meterlink.judging.criterion import Criterion, Kind, Region
from meterlink.quantities.budget import Budget
from meterlink.quantities.ohms import AsRead, AtReference, LeadCorrected
from meterlink.quantities.window import Window

__all__ = ["CLEAR", "Criterion", "Judgement", "Kind", "Verdict", "Window", "judge"]

CLEAR: Final = 0.95
"""From this probability on a verdict is clear; below it is close."""

LIMITS: Final = {
    "meter": Limit.METER,
    "resolution": Limit.RESOLUTION,
    "leads": Limit.LEADS,
    "series": Limit.SERIES,
    "temperature": Limit.TEMPERATURE,
    "repeatability": Limit.NOISE,
}
"""What the largest component of a budget says about what limits."""


class Judgement(msgspec.Struct, frozen=True, kw_only=True):
    """What a value means, and how sure that is."""

    verdict: Verdict
    probability: float
    """Of the stated verdict."""
    probabilities: dict[Verdict, float]
    """Of every verdict that the criterion knows; they sum to one."""
    passes: bool
    """The verdict is the one hoped for."""
    limit: Limit | None = None
    """What the largest share of the uncertainty comes from; None where nothing is uncertain."""
    advice: str = ""
    """Where it is close: one sentence on what limits and what would help."""
    impossible: bool = False
    """The resistance lies farther below nought than its uncertainty: nothing to go by."""

    @property
    def clear(self) -> bool:
        """The probability of the stated verdict is at least 0.95."""
        return self.probability >= CLEAR


def judge(
    estimate: AsRead | LeadCorrected | AtReference,
    budget: Budget,
    criterion: Criterion,
    how: Situation | None = None,
) -> Judgement:
    """Return the verdict on ``estimate``, corrected as the criterion asks; infinite: over range.

    A resistance below nought by no more than its uncertainty counts with the lowest verdict.
    Farther below, it cannot be: the verdict stays, with the small probability that is left.
    ``how`` the value was taken changes what would help.
    """
    regions = criterion.regions
    verdict = criterion.verdict(estimate)
    u, dof = budget.u, budget.dof
    if u == 0 or isinf(estimate):
        probabilities = {r.verdict: float(r.verdict is verdict) for r in regions}
    else:
        shares = probabilities_between(estimate, u, criterion.edges, dof)
        probabilities = {r.verdict: share for r, share in zip(regions, shares, strict=True)}
    probability = probabilities[verdict]
    impossible = criterion.window.unit == "ohm" and estimate < 0 and estimate < -budget.expanded
    if impossible:
        probability = probability_between(estimate, u, low=0.0, dof=dof)
    largest = budget.largest()
    limit = LIMITS.get(largest.name) if largest is not None else None
    advice = ""
    if impossible:
        advice = below_nought(how or Situation())
    elif probability < CLEAR:
        edge, name = _nearest_edge(estimate, regions, criterion)
        advice = advise(limit, edge, name, criterion.window.unit, how or Situation())
    return Judgement(
        verdict=verdict,
        probability=probability,
        probabilities=probabilities,
        passes=verdict is criterion.good,
        limit=limit,
        advice=advice,
        impossible=impossible,
    )


def _nearest_edge(
    estimate: float, regions: tuple[Region, ...], criterion: Criterion
) -> tuple[float, str]:
    """Return the value nearest to ``estimate`` where the verdict changes, and its name."""
    edge = min((region.high for region in regions[:-1]), key=lambda e: abs(e - estimate))
    window = criterion.window
    if edge == window.low:
        return edge, "low end of the window"
    if edge == window.high:
        return edge, "high end of the window"
    return edge, "short limit" if edge == criterion.short_below else "open limit"
