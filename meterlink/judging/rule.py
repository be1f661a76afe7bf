"""The rule of decision: from a probability of conformity to accept, reject or undecided.

JCGM 106:2012, clause 8. The verdict itself stays that of simple acceptance (8.2), and ``clear``
says whether its probability is at least 95 %. A guarded rule keeps one wrong decision rare: what
lies in its guard band is left undecided, to be measured better, rather than scrapped or passed.
"""

from enum import Enum
from typing import Final, NamedTuple

GUARD: Final = 0.95
"""Probability that a guarded decision must have; the guard band is 1.645 u wide (8.3, table 1)."""


class Rule(Enum):
    """By which rule a part is accepted or rejected."""

    SIMPLE = "simple"
    """By the best estimate alone (8.2): either risk may reach 50 % at the limit."""
    GUARDED_ACCEPTANCE = "guarded-acceptance"
    """Accepted only where it conforms with 95 % (8.3.2); rejected outside the limits."""
    GUARDED_REJECTION = "guarded-rejection"
    """Rejected only where it does not conform with 95 % (8.3.3); accepted inside the limits."""


class Decision(Enum):
    """What the rule makes of a value."""

    ACCEPT = "accept"
    REJECT = "reject"
    UNDECIDED = "undecided"


class Decided(NamedTuple):
    """A decision, and how likely it is wrong."""

    decision: Decision
    risk: float | None
    """Specific risk (9.3.2): the consumer's of what is accepted, the producer's of what is
    rejected; None where nothing is decided."""


def decide(rule: Rule, *, conforms: bool, probability: float, against: float) -> Decided:
    """Return the decision on a value.

    Args:
        rule: to go by.
        conforms: the best estimate lies within the limits.
        probability: that the true value does.
        against: that it does not. The two sum to one unless something keeps both from being sure.
    """
    if rule is Rule.GUARDED_ACCEPTANCE and conforms and probability < GUARD:
        return Decided(Decision.UNDECIDED, None)
    if rule is Rule.GUARDED_REJECTION and not conforms and against < GUARD:
        return Decided(Decision.UNDECIDED, None)
    if conforms:
        return Decided(Decision.ACCEPT, 1 - probability)
    return Decided(Decision.REJECT, 1 - against)
