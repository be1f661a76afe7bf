"""The uncertainty budget: what each source gives, and what they come to (GUM, JCGM 100:2008).

Components are standard uncertainties of the result: each already multiplied by its sensitivity.
They combine by root sum of squares (5.1.2), degrees of freedom by Welch-Satterthwaite (G.4.1),
and the coverage factor is Student's t for them (G.3).
"""

from collections.abc import Callable, Sequence
from functools import cache
from math import fsum, hypot, inf, sqrt
from operator import attrgetter
from statistics import NormalDist
from typing import Final, cast

import msgspec

CONFIDENCE: Final = 0.95
"""Coverage probability of every expanded uncertainty that the program states."""

_NORMAL: Final = NormalDist()
_u: Final = attrgetter("u")


class Component(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a budget."""

    name: str
    """``meter``, ``resolution``, ``leads``, ``series``, ``temperature``, ``repeatability`` ..."""
    u: float
    """Standard uncertainty of the result due to this source, never negative."""
    dof: float | None = None
    """Degrees of freedom; None where the distribution is taken as known (infinitely many)."""


class Budget:
    """The components of one result; they are taken as independent."""

    __slots__ = ("components", "dof", "u")

    def __init__(self, components: Sequence[Component] = ()) -> None:
        self.components = tuple(components)
        self.u = combined([c.u for c in components])
        """Combined standard uncertainty, the unit of the components."""
        self.dof = effective_dof(components, self.u)
        """Effective degrees of freedom; infinite where no component was estimated from few."""

    @property
    def k(self) -> float:
        """Coverage factor for 95 %."""
        return coverage_factor(self.dof)

    @property
    def expanded(self) -> float:
        """Expanded uncertainty for 95 %."""
        return self.k * self.u if self.u else 0.0

    def largest(self) -> Component | None:
        """Return the component that limits, or None where nothing is uncertain."""
        largest = max(self.components, key=_u, default=None)
        return largest if largest is not None and largest.u > 0 else None


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a value somewhere within ``half_width`` (GUM 4.3.7)."""
    return half_width / sqrt(3)


def of_digit(resolution: float) -> float:
    """Return the standard uncertainty of a display's last digit (GUM F.2.2.1)."""
    return rectangular(resolution / 2)


def combined(
    contributions: Sequence[float], correlation: Sequence[Sequence[float]] | None = None
) -> float:
    """Return the combined standard uncertainty of ``contributions`` (GUM 5.1.2, 5.2.2).

    Each is a sensitivity times a standard uncertainty, with the sensitivity's sign.
    ``correlation`` is their square matrix of correlation coefficients; None: independent.
    """
    if correlation is None:
        return hypot(*contributions)
    rows = zip(contributions, correlation, strict=True)
    terms = (a * r * b for a, row in rows for b, r in zip(contributions, row, strict=True))
    # Contributions that cancel may leave a hair below zero.
    return sqrt(max(0.0, fsum(terms)))


def effective_dof(components: Sequence[Component], total: float) -> float:
    """Return the degrees of freedom of the combination by Welch-Satterthwaite (GUM G.4.1).

    ``total`` is their combined standard uncertainty.
    """
    if total == 0:
        return inf
    # As shares of the total, so that the fourth powers neither overflow nor vanish.
    parts = fsum((c.u / total) ** 4 / c.dof for c in components if c.dof is not None)
    return 1 / parts if parts else inf


def coverage_factor(dof: float, confidence: float = CONFIDENCE) -> float:
    """Return Student's t for a two-sided interval; ``dof`` need not be whole (GUM G.4.1 note 1)."""
    p = (1 + confidence) / 2
    if dof == inf:
        return _NORMAL.inv_cdf(p)
    return float(_student()(dof, p))


@cache
def _student() -> Callable[[float, float], float]:
    """Load Student's distribution: heavy, so only where few readings make it necessary."""
    from scipy.special import stdtrit

    return cast(Callable[[float, float], float], stdtrit)
