"""When a steady value may be held: decided, or beyond what more readings can mend."""

from math import sqrt
from typing import Final

from meterlink.events import Limit
from meterlink.hold.confidence import mean_radius
from meterlink.hold.decision_edges import DecisionEdges
from meterlink.hold.policy import HoldPolicy

_COVERAGE: Final = 1.645
"""Standard uncertainties of what averaging cannot mend that an edge must be away: 5 %, one side."""


def limit_of(u: float, fixed: float, step: float) -> Limit:
    """What keeps the uncertainty from being smaller: noise, the meter, or its last digit."""
    rounding = step / sqrt(12)
    if rounding >= max(u, fixed):
        return Limit.RESOLUTION
    return Limit.METER if fixed > u else Limit.NOISE


def should_stop(
    policy: HoldPolicy,
    aim: DecisionEdges | None,
    value: float,
    u: float,
    sd: float,
    n: int,
    step: float,
) -> bool:
    """Whether more readings would change nothing that matters.

    They do not where no edge is aimed at, where the interval that survives repeated looking
    (``confidence.mean_radius``), widened by what averaging cannot mend, is clear of every edge,
    or where repeatability is already small beside what averaging cannot mend.

    Args:
        policy: the numbers to go by.
        aim: the edges, and what averaging cannot mend; None for neither.
        value: steadied, as read.
        u: its standard uncertainty by repeatability.
        sd: standard deviation of one point, serial correlation included.
        n: points that it rests on.
        step: step of the last digit.
    """
    if aim is None or not aim.edges:
        return True
    fixed = sqrt(aim.u_fixed(value) ** 2 + step * step / 12)
    if u <= policy.small_share * fixed:
        return True
    radius = mean_radius(n, sd, policy.doubt, policy.due_readings)
    clear = sqrt(radius * radius + (_COVERAGE * fixed) ** 2)
    return min([abs(value - edge) for edge in aim.edges]) > clear
