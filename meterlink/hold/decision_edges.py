"""What the verdict needs of a hold."""

from collections.abc import Callable

import msgspec


def _nothing(_value: float) -> float:
    return 0.0


class DecisionEdges(msgspec.Struct, frozen=True, kw_only=True):
    """Where a value matters, and what averaging cannot mend.

    Both are in the unit of the readings, for values as read (not yet corrected).
    """

    edges: tuple[float, ...] = ()
    """Values at which the verdict changes; near one of them averaging goes on longer."""
    u_fixed: Callable[[float], float] = _nothing
    """Standard uncertainty, at a value as read, that more readings leave as it is."""
