"""How far a measurement repeats: within a touch, between touches, and between people.

Between touches comes from pairs of touches on the same points, each pair with one degree of
freedom, pooled over jobs. Between people only a crossed study tells: every person measures every
part several times, and the analysis of variance shares out what is seen (two-way random effects
with interaction; the interaction is pooled with the repeats where it is not significant).
"""

from collections.abc import Iterable, Mapping, Sequence
from math import sqrt
from statistics import fmean
from typing import Final

import msgspec

from meterlink.errors import NotationError

SIGNIFICANT: Final = 0.05
"""An interaction of parts and people that is less likely than this by chance stands by itself."""


class Pooled(msgspec.Struct, frozen=True):
    """A standard deviation from many pairs."""

    sd: float
    """Of one touch."""
    dof: int
    """Degrees of freedom: one a pair."""


def pool_pairs(differences: Sequence[float]) -> Pooled | None:
    """Return the standard deviation of one touch from the differences of pairs; None for none."""
    if not differences:
        return None
    return Pooled(sqrt(fmean(d * d for d in differences) / 2), len(differences))


class VarianceLine(msgspec.Struct, frozen=True):
    """One line of the analysis of variance."""

    name: str
    squares: float
    """Sum of squares."""
    dof: int

    @property
    def mean_square(self) -> float:
        """Sum of squares a degree of freedom."""
        return self.squares / self.dof


class CrossedStudy(msgspec.Struct, frozen=True, kw_only=True):
    """Standard deviations that a crossed study came to, the unit of the values."""

    parts: int
    people: int
    repeats: int
    lines: tuple[VarianceLine, ...]
    """Of the analysis of variance: parts, people, interaction, repeats."""
    interaction_p: float
    """Probability of so much interaction by chance."""
    pooled: bool
    """The interaction was pooled with the repeats."""
    repeatability: float
    """Of one person on one part."""
    reproducibility: float
    """Between people, their interaction with the parts included."""
    between_parts: float

    @property
    def measurement(self) -> float:
        """Repeatability and reproducibility together."""
        return sqrt(self.repeatability**2 + self.reproducibility**2)


def crossed_study(values: Mapping[tuple[str, str], Sequence[float]]) -> CrossedStudy:
    """Return what ``values``, by part and person, come to.

    Raises:
        NotationError: a part, a person or a repeat is missing, or there are too few.
    """
    parts = sorted({part for part, _ in values})
    people = sorted({person for _, person in values})
    cells = {(p, o): values.get((p, o), ()) for p in parts for o in people}
    repeats = len(next(iter(cells.values()), ()))
    if min(len(parts), len(people), repeats) < 2:
        raise NotationError("a study needs two parts, two people and two repeats at least")
    for (part, person), seen in cells.items():
        if len(seen) != repeats:
            raise NotationError(
                f"every person must measure every part equally often: {person} has {len(seen)} "
                f"values of {part}, others have {repeats}"
            )
    p, o, r = len(parts), len(people), repeats
    grand = fmean(v for seen in cells.values() for v in seen)
    mean = {key: fmean(seen) for key, seen in cells.items()}
    of_part = {part: fmean(mean[part, person] for person in people) for part in parts}
    of_person = {person: fmean(mean[part, person] for part in parts) for person in people}
    in_parts = VarianceLine("parts", o * r * _squares(of_part.values(), grand), p - 1)
    in_people = VarianceLine("people", p * r * _squares(of_person.values(), grand), o - 1)
    crossed = r * _squares((mean[a, b] - of_part[a] - of_person[b] for a, b in cells), -grand)
    between = VarianceLine("parts and people", crossed, (p - 1) * (o - 1))
    within = VarianceLine(
        "repeats",
        sum(_squares(seen, mean[key]) for key, seen in cells.items()),
        p * o * (r - 1),
    )
    return _shared_out((in_parts, in_people, between, within), p, o, r)


def _shared_out(
    lines: tuple[VarianceLine, VarianceLine, VarianceLine, VarianceLine], p: int, o: int, r: int
) -> CrossedStudy:
    """Share the mean squares out among their sources."""
    in_parts, in_people, between, within = lines
    chance = _f_tail(between, within)
    pooled = chance > SIGNIFICANT
    if pooled:
        error = (between.squares + within.squares) / (between.dof + within.dof)
        against, crossed = error, 0.0
    else:
        error, against = within.mean_square, between.mean_square
        crossed = max(0.0, (against - error) / r)
    people = max(0.0, (in_people.mean_square - against) / (p * r))
    parts = max(0.0, (in_parts.mean_square - against) / (o * r))
    return CrossedStudy(
        parts=p,
        people=o,
        repeats=r,
        lines=lines,
        interaction_p=chance,
        pooled=pooled,
        repeatability=sqrt(error),
        reproducibility=sqrt(people + crossed),
        between_parts=sqrt(parts),
    )


def _squares(values: Iterable[float], about: float) -> float:
    return sum((value - about) ** 2 for value in values)


def _f_tail(above: VarianceLine, below: VarianceLine) -> float:
    """Return the probability of a ratio of mean squares at least so large by chance."""
    if below.squares == 0:
        return 0.0 if above.squares else 1.0
    from scipy.special import fdtrc  # heavy, and only a study needs it

    return float(fdtrc(above.dof, below.dof, above.mean_square / below.mean_square))
