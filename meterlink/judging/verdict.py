"""The verdict on a corrected value, with its probability.

The verdict is that of the best estimate; its probability is that of the true value lying in the
same region (JCGM 106:2012). A verdict is clear from a probability of 0.95. What is known of the
true value is a distribution about the best estimate: normal; where the uncertainty itself rests on
few readings a scaled and shifted t-distribution (7.2.3); where parts are rectangular or on one side
only, what they come to by convolution.
"""

from collections.abc import Sequence
from math import inf, isinf
from typing import Final, Self

import msgspec
from msgspec import structs

from meterlink.events import Limit, Verdict
from meterlink.judging.advice import Situation, advise, unphysical
from meterlink.judging.criterion import Criterion, Decided, Kind, Region, Rule, decide
from meterlink.quantities.budget import Budget
from meterlink.quantities.units import AsRead, AtReference, LeadCorrected
from meterlink.quantities.window import Window

__all__ = ["CLEAR", "Criterion", "Judgement", "Kind", "Verdict", "Window", "judge"]

CLEAR: Final = 0.95
"""From this probability on a verdict is clear; below it is close."""

RULES: Final = "2"
"""Version of the rules that verdicts are made by; each verdict carries it.

1: what nobody declared was taken for zero; 2: it has a line of its own in the budget.
"""

_HARDLY: Final = 0.025
"""A resistance that is zero or more with less than this cannot be: it lies below zero by more
than its expanded uncertainty."""

LIMITS: Final = {
    "meter": Limit.METER,
    "resolution": Limit.RESOLUTION,
    "leads": Limit.LEADS,
    "series": Limit.SERIES,
    "temperature": Limit.TEMPERATURE,
    "repeatability": Limit.NOISE,
    "contact": Limit.CONTACT,
    "touches": Limit.CONTACT,
    "emf": Limit.EMF,
    "drift": Limit.METER,
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
    """The resistance lies farther below zero than its uncertainty: nothing to go by."""
    question: str = ""
    """What is to be asked before anything else, where the value fits another part far better."""
    rule: Rule = Rule.SIMPLE
    """By which the part is accepted or rejected."""
    good: Verdict = Verdict.IN_WINDOW
    """The verdict hoped for."""

    @property
    def clear(self) -> bool:
        """The probability of the stated verdict is at least 0.95."""
        return self.probability >= CLEAR and not self.impossible

    @property
    def decided(self) -> Decided:
        """What the rule makes of it, with the specific risk (JCGM 106, 9.3.2)."""
        others = [p for verdict, p in self.probabilities.items() if verdict is not self.good]
        return decide(
            self.rule,
            conforms=self.passes,
            probability=self.probabilities.get(self.good, 0.0),
            against=sum(others),
        )

    def trusted(self, share: float, why: str = "") -> Self:
        """Return the same, true only if something is that has this probability.

        What is left goes to no verdict. ``why`` stands as advice where there was none.
        """
        return structs.replace(
            self,
            probability=share * self.probability,
            probabilities={verdict: share * p for verdict, p in self.probabilities.items()},
            advice=f"{why} {self.advice}".strip() if why else self.advice,
        )


def judge(
    estimate: AsRead | LeadCorrected | AtReference,
    budget: Budget,
    criterion: Criterion,
    how: Situation | None = None,
    rule: Rule = Rule.SIMPLE,
) -> Judgement:
    """Return the verdict on ``estimate``, corrected as the criterion asks; infinite: over range.

    A resistance below zero by no more than its uncertainty counts with the lowest verdict, and
    what its distribution has below zero is shared out among the others. Farther below, it
    cannot be: the verdict stays, with the small probability that is left. ``how`` the value was
    taken changes what would help.
    """
    regions = criterion.regions
    verdict = criterion.verdict(estimate)
    ohms = criterion.window.unit == "ohm"
    impossible = False
    if isinf(estimate) or not budget.components:
        probabilities = {r.verdict: float(r.verdict is verdict) for r in regions}
        probability = probabilities[verdict]
        impossible = ohms and estimate < 0
    else:
        possible = _possible(estimate, budget) if ohms and estimate < 0 else 1.0
        impossible = possible < _HARDLY
        floor = 0.0 if ohms and not impossible else None
        shares = probabilities_between(estimate, budget, criterion.edges, floor)
        probabilities = {r.verdict: share for r, share in zip(regions, shares, strict=True)}
        probability = possible if impossible else probabilities[verdict]
    largest = budget.largest()
    limit = LIMITS.get(largest.name) if largest is not None else None
    advice = ""
    if impossible:
        advice = unphysical(how or Situation())
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
        rule=rule,
        good=criterion.good,
    )


def _possible(estimate: float, budget: Budget) -> float:
    """Return the probability that a resistance is zero or more, though it comes out below.

    What is assumed on one side only is passed over: the leads may have nothing after all.
    """
    even = Budget([line for line in budget.components if not line.shift])
    return 1.0 - even.below(-estimate) if even.u else 0.0


def _nearest_edge(
    estimate: float, regions: tuple[Region, ...], criterion: Criterion
) -> tuple[float, str]:
    """Return the value nearest to ``estimate`` where the verdict changes, and its name."""
    edge = min((region.high for region in regions[:-1]), key=lambda e: abs(e - estimate))
    window = criterion.window
    if edge == window.low:
        return edge, "low limit"
    if edge == window.high:
        return edge, "high limit"
    return edge, "short limit" if edge == criterion.short_below else "open limit"


# --- the probability of conformity (JCGM 106:2012, clause 7) -------------------------------------


def probabilities_between(
    estimate: float, budget: Budget, edges: Sequence[float], floor: float | None = None
) -> list[float]:
    """Return the probability of each stretch between ``edges``, rising, and beyond the outermost.

    One stretch more than edges. ``estimate`` is finite. ``floor``: the true value is known to be
    no less, as a resistance is zero or more; what lies below is shared out among the stretches.
    """
    ends = [_either_side(edge - estimate, budget) for edge in edges]
    cut_below, cut_above = (0.0, 1.0) if floor is None else _either_side(floor - estimate, budget)
    if cut_above <= 0:
        cut_below, cut_above = 0.0, 1.0
    result = []
    left = (cut_below, cut_above)
    for edge, end in zip(edges, ends, strict=True):
        if floor is not None and edge <= floor:
            end = (cut_below, cut_above)
        result.append(_stretch(left, end))
        left = end
    result.append(left[1])
    # Scaled once more, as rounding may leave them a hair from one together.
    return [max(0.0, p) / cut_above for p in result]


def _stretch(left: tuple[float, float], right: tuple[float, float]) -> float:
    """Return what lies between two ends, from their smaller tails, which keep their digits."""
    if left[1] < 0.5:
        return left[1] - right[1]
    if right[0] < 0.5:
        return right[0] - left[0]
    return 1.0 - left[0] - right[1]


def _either_side(distance: float, budget: Budget) -> tuple[float, float]:
    """Return the probabilities below and above ``distance`` from the estimate."""
    if distance == -inf:
        return 0.0, 1.0
    if distance == inf:
        return 1.0, 0.0
    away = distance - budget.shift
    tail = budget.below(budget.shift - abs(away))
    return (tail, 1.0 - tail) if away < 0 else (1.0 - tail, tail)
