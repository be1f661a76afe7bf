"""The uncertainty budget: what each source gives, and what they come to (GUM, JCGM 100:2008).

Components are standard uncertainties of the result: each already multiplied by its sensitivity.
They combine by root sum of squares (5.1.2), degrees of freedom by Welch-Satterthwaite (G.4.1),
and the coverage factor is Student's t for them (G.3).
"""

from collections.abc import Sequence
from functools import cached_property
from math import fsum, hypot, inf, sqrt
from statistics import NormalDist
from typing import Final

import msgspec

CONFIDENCE: Final = 0.95
"""Coverage probability of every expanded uncertainty that the program states."""

_NORMAL: Final = NormalDist()


class Component(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a budget."""

    name: str
    """``meter``, ``resolution``, ``leads``, ``series``, ``temperature``, ``repeatability`` ..."""
    u: float
    """Standard uncertainty of the result due to this source, never negative."""
    dof: float | None = None
    """Degrees of freedom; None where the distribution is taken as known (infinitely many)."""


class Budget(msgspec.Struct, frozen=True, dict=True):
    """The components of one result; they are taken as independent."""

    components: tuple[Component, ...] = ()

    @cached_property
    def u(self) -> float:
        """Combined standard uncertainty, the unit of the components."""
        return combined([c.u for c in self.components])

    @cached_property
    def dof(self) -> float:
        """Effective degrees of freedom; infinite where no component was estimated from few."""
        return effective_dof(self.components, self.u)

    @cached_property
    def k(self) -> float:
        """Coverage factor for 95 %."""
        return coverage_factor(self.dof)

    @cached_property
    def expanded(self) -> float:
        """Expanded uncertainty for 95 %."""
        u = self.u
        return self.k * u if u else 0.0

    def largest(self) -> Component | None:
        """Return the component that limits, or None where nothing is uncertain."""
        return max((c for c in self.components if c.u > 0), key=lambda c: c.u, default=None)


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
    # Contributions that cancel may leave a hair below nought.
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
    from scipy.special import stdtrit  # heavy: only where few readings make it necessary

    return float(stdtrit(dof, p))
