"""The uncertainty budget: what each source gives, and what they come to (GUM, JCGM 100:2008).

Components are standard uncertainties of the result: each already multiplied by its sensitivity.
They combine by root sum of squares (5.1.2), degrees of freedom by Welch-Satterthwaite (G.4.1),
and the coverage factor is Student's t for them (G.3). Where parts are rectangular, or lie on one
side only, intervals and probabilities come from the distributions themselves (``distribution``).
"""

from collections.abc import Callable, Sequence
from functools import cache, cached_property
from math import erfc, fsum, hypot, inf, sqrt
from statistics import NormalDist
from typing import Final, cast

import msgspec

from meterlink.quantities.distribution import Distribution

CONFIDENCE: Final = 0.95
"""Coverage probability of every expanded uncertainty that the program states."""

_FEW: Final = 4.0
"""Below so many degrees of freedom the sum of Student parts is none, by several percent."""

_NORMAL: Final = NormalDist()


class Component(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a budget."""

    name: str
    """``meter``, ``resolution``, ``leads``, ``series``, ``temperature``, ``repeatability`` ..."""
    u: float
    """Standard uncertainty of the result due to this source, never negative."""
    dof: float | None = None
    """Degrees of freedom; None where the distribution is taken as known (infinitely many)."""
    half_widths: tuple[float, ...] = ()
    """Of the rectangular parts in ``u``; what they leave of it is normal, or Student's."""
    shift: float = 0.0
    """How far the true value lies from the result on average because of this source: of what is
    on one side only and was not taken off, as leads that only add. ``u`` is about that mean."""
    assumed: bool = False
    """Nobody declared it: a figure of experience stands in its place."""
    source: str = ""
    """Where an assumed figure comes from."""


class Budget:
    """The components of one result; they are taken as independent."""

    def __init__(self, components: Sequence[Component] = ()) -> None:
        self.components = tuple(components)
        self.u = combined([c.u for c in components])
        """Combined standard uncertainty, the unit of the components."""
        self.dof = effective_dof(components, self.u)
        """Effective degrees of freedom; infinite where no component was estimated from few."""
        self.shift = fsum(c.shift for c in components)
        """How far the middle of what the true value may be lies from the result."""

    @cached_property
    def distribution(self) -> Distribution | None:
        """What the true value less the result and the shift may be.

        None where a normal or Student's distribution describes it, as the GUM has it: no part is
        rectangular, and no estimate among several rests on so few readings that their sum is none.
        """
        widths = [a for c in self.components for a in c.half_widths]
        few = any(c.dof is not None and c.dof < _FEW for c in self.components)
        if not any(widths) and not (few and len(self.components) > 1):
            return None
        normal = 0.0
        students: list[tuple[float, float]] = []
        for c in self.components:
            rest = max(0.0, c.u * c.u - fsum(a * a for a in c.half_widths) / 3)
            if c.dof is None:
                normal += rest
            elif rest:
                # The degrees of freedom told are those of all of it, by Welch and Satterthwaite.
                students.append((sqrt(rest), c.dof * (rest / (c.u * c.u)) ** 2))
        return Distribution(sqrt(normal), widths, _merged(students))

    def below(self, distance: float) -> float:
        """Return the probability that the true value is less than the result and ``distance``."""
        if not self.u:
            return 1.0 if distance > self.shift else 0.0
        if self.distribution is not None:
            # A sum of many weights may come out a hair beyond nought or one.
            return min(1.0, max(0.0, self.distribution.below(distance - self.shift)))
        return _student_below((distance - self.shift) / self.u, self.dof)

    @cached_property
    def interval(self) -> tuple[float, float]:
        """Both ends of the 95 % interval, from the result; as much is left out on either side."""
        p = (1 - CONFIDENCE) / 2
        if self.distribution is not None:
            half = -self.distribution.quantile(p)
        else:
            half = coverage_factor(self.dof) * self.u if self.u else 0.0
        return self.shift - half, self.shift + half

    @property
    def k(self) -> float:
        """Coverage factor for 95 %: half of ``interval`` in standard uncertainties."""
        low, high = self.interval
        return (high - low) / (2 * self.u) if self.u else coverage_factor(self.dof)

    @property
    def expanded(self) -> float:
        """Expanded uncertainty for 95 %: so far about the result lies all of ``interval``."""
        return max(map(abs, self.interval))

    def largest(self) -> Component | None:
        """Return the component that limits, or None where nothing is uncertain."""
        largest = max(self.components, key=lambda c: hypot(c.u, c.shift), default=None)
        return largest if largest is not None and largest.u > 0 else None


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a value somewhere within ``half_width`` (GUM 4.3.7)."""
    return half_width / sqrt(3)


def spread(
    name: str, *half_widths: float, u: float = 0.0, dof: float | None = None, shift: float = 0.0
) -> Component:
    """Return a component of rectangular parts and, where ``u`` is given, one of ``dof``."""
    widths = tuple(abs(a) for a in half_widths if a)
    total = hypot(u, *(rectangular(a) for a in widths))
    dofs = None
    if dof is not None and dof != inf and u:
        dofs = dof * min(total / u, 1e30) ** 4
    return Component(name=name, u=total, dof=dofs, half_widths=widths, shift=shift)


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


def _merged(students: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Put Student parts together that rest on enough readings for Welch and Satterthwaite."""
    few = [(scale, dof) for scale, dof in students if dof < _FEW]
    many = [Component(name="", u=scale, dof=dof) for scale, dof in students if dof >= _FEW]
    if many:
        together = combined([c.u for c in many])
        few.append((together, effective_dof(many, together)))
    return few


def _student_below(z: float, dof: float) -> float:
    if dof == inf:
        return erfc(-z / sqrt(2)) / 2
    from scipy.special import stdtr  # heavy, so only where few readings make it necessary

    return float(stdtr(dof, z))


@cache
def _student() -> Callable[[float, float], float]:
    """Load Student's distribution: heavy, so only where few readings make it necessary."""
    from scipy.special import stdtrit

    return cast(Callable[[float, float], float], stdtrit)
