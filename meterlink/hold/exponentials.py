"""Least squares of a stretch of points on a constant and one or two exponentials.

The points lie on a grid, a whole number of sending intervals apart, so the values of an exponential
are the same in every stretch and are kept: a fit costs little more than one sum of products.
"""

from functools import lru_cache
from itertools import accumulate
from math import exp, inf, log
from operator import mul
from typing import Final, NamedTuple

Fit = tuple[float, float, float, float, float, int]
"""Size at the first point, sum of squares of the centred exponential, its mean, its last value,
prior plus residual sum of squares, rung of the time constant."""


class Pair(NamedTuple):
    """Two time constants fitted at once; variances are in those of one point."""

    slow_size: float
    """Of the slower one, at the first point."""
    slow_spread: float
    """Sum of squares of what the faster one leaves of it."""
    slow_now: float
    """Its last value, of the exponential without the size."""
    left: float
    """What is left of both together at the last point."""
    left_variance: float
    goal: float
    """The constant that they go to, less the mean of the values."""
    goal_variance: float
    ss: float
    """Prior plus residual sum of squares."""


CentredExponential = tuple[float, float, float, float, list[float]]
"""Mean of an exponential, sums of its centred square and of its product with the centred values,
its last value, all its values."""

RUNG: Final = 0.08
"""Logarithm of the ratio of neighbouring time constants on the ladder of those that are tried."""
LONGEST: Final = 96
"""Grid points that a stretch may span."""
_ALIKE: Final = 0.02
"""Logarithm within which sending intervals are taken as one: far below what can be told of a time
constant."""
_SHORTEST: Final = 1e-9
"""Seconds between grid points, and one over it, that no clock gets beyond in earnest."""
_STEPS: Final = (4, 2)
"""Rungs by which the faster of two time constants is sought, one after the other."""


class Powers:
    """One exponential on the grid, with what a fit takes of its first so many values."""

    __slots__ = ("means", "spreads", "values")

    def __init__(self, ratio: float) -> None:
        """``ratio``: of its value at one grid point to that at the one before."""
        self.values = [1.0]
        for _ in range(LONGEST - 1):
            self.values.append(self.values[-1] * ratio)
        sums = accumulate(self.values)
        squares = accumulate(map(mul, self.values, self.values))
        self.means = [total / n for n, total in enumerate(sums, 1)]
        """Of the first value, of the first two, and so on."""
        pairs = zip(squares, self.means, strict=True)
        self.spreads = [square - n * mean * mean for n, (square, mean) in enumerate(pairs, 1)]
        """Sums of their squares about those means."""


class TimeConstantGrid:
    """Exponentials on a grid of one interval, each made when it is first asked for."""

    def __init__(self, every: float) -> None:
        """``every``: seconds between grid points."""
        self._every = every
        self._rungs: dict[int, Powers] = {}

    def rung(self, rung: int) -> Powers:
        """Return the exponential with the time constant of this rung."""
        powers = self._rungs.get(rung)
        if powers is None:
            powers = self._rungs[rung] = Powers(exp(-self._every / tau_of(rung)))
        return powers


def tau_of(rung: int) -> float:
    """Return the time constant of a rung, seconds."""
    return exp(rung * RUNG)


def rung_of(tau: float) -> int:
    """Return the rung next to a time constant in seconds."""
    return round(log(tau) / RUNG)


def ladder(every: float) -> TimeConstantGrid:
    """Return the ladder for grid points about ``every`` seconds apart."""
    return _ladder(round(log(min(max(every, _SHORTEST), 1 / _SHORTEST)) / _ALIKE))


@lru_cache(maxsize=8)
def _ladder(alike: int) -> TimeConstantGrid:
    return TimeConstantGrid(exp(alike * _ALIKE))


class Sums:
    """The sums of one stretch."""

    __slots__ = ("_d", "_ladder", "_places", "_rows", "_total", "mean", "n", "syy")

    def __init__(self, places: list[int], ys: list[float], every: float) -> None:
        """Take a stretch.

        Args:
            places: on the grid, increasing, over fewer than ``LONGEST`` of it.
            ys: the values there.
            every: seconds between grid points.
        """
        base = ys[0]
        self.n = n = len(ys)
        """Points."""
        self._d = d = [y - base for y in ys]
        self._total = total = sum(d)
        first = places[0]
        self._places = None if places[-1] - first == n - 1 else [k - first for k in places]
        self._ladder = ladder(every)
        self._rows: dict[int, CentredExponential] = {}
        mean = total / n
        self.mean = base + mean
        """Of the values."""
        syy = sum(map(mul, d, d)) - total * mean
        self.syy = syy if syy > 0.0 else 0.0  # noqa: FURB136
        """Sum of squares of the values about their mean."""

    def _row(self, rung: int) -> CentredExponential:
        row = self._rows.get(rung)
        if row is not None:
            return row
        powers, places, last = self._ladder.rung(rung), self._places, self.n - 1
        h = powers.values
        if places is None:
            mean, spread, now = powers.means[last], powers.spreads[last], h[last]
        else:
            h = [h[k] for k in places]
            mean, now = sum(h) / self.n, h[-1]
            spread = sum(map(mul, h, h)) - self.n * mean * mean
        hy = sum(map(mul, self._d, h))
        row = self._rows[rung] = mean, spread, hy - mean * self._total, now, h
        return row

    def fits(self, rungs: tuple[int, ...], prior_ss: float) -> list[Fit]:
        """Fit each of these rungs; ``prior_ss`` is added to each sum of squares."""
        syy = self.syy
        found: list[Fit] = []
        for rung in rungs:
            hm, shh, shy, now, _ = self._row(rung)
            if shh > 1e-12:
                b = shy / shh
                rest = syy - b * shy
                found.append((b, shh, hm, now, prior_ss + rest if rest > 0.0 else prior_ss, rung))
        return found

    def best_pairs(
        self, fits: list[Fit], slow: tuple[int, ...], apart: int, prior_ss: float
    ) -> list[Pair]:
        """For each slow rung, highest first, the best fit together with a faster one.

        The faster is at least ``apart`` rungs below the slower. It is sought among ``fits``, then
        in ever smaller steps; for the next slow one it is sought from there.
        """
        found: list[Pair] = []
        rungs = [fit[5] for fit in fits]
        for top in slow:
            second, least = self._row(top), inf
            at = most = top - apart
            for rung in rungs:
                if rung <= most:
                    rest = self._rest(self._row(rung), second)
                    if rest < least:
                        at, least = rung, rest
            for step in _STEPS[len(found) > 0 :]:
                for rung in (at - step, at + step):
                    if rung <= most:
                        rest = self._rest(self._row(rung), second)
                        if rest < least:
                            at, least = rung, rest
            if least < inf:
                found.append(self._pair(self._row(at), second, prior_ss))
                rungs = [at]
        return found

    def _together(self, fast: CentredExponential, slow: CentredExponential) -> float:
        """The sum of the products of two exponentials, both centred."""
        values, others = fast[4], slow[4]
        ratio = values[1] * others[1]
        if self._places is None and ratio < 0.99:
            both = (1.0 - ratio * fast[3] * slow[3]) / (1.0 - ratio)
        else:
            both = sum(map(mul, values[: self.n], others))
        return both - self.n * fast[0] * slow[0]

    def _rest(self, fast: CentredExponential, slow: CentredExponential) -> float:
        """What two time constants at once leave of the sum of squares.

        Infinite where they cannot be told apart.
        """
        _, s11, y1, _, _ = fast
        _, s22, y2, _, _ = slow
        s12 = self._together(fast, slow)
        det = s11 * s22 - s12 * s12
        if det <= 1e-9 * s11 * s22 or s11 <= 1e-12:
            return inf
        return self.syy - (s22 * y1 * y1 - 2.0 * s12 * y1 * y2 + s11 * y2 * y2) / det

    def _pair(self, fast: CentredExponential, slow: CentredExponential, prior_ss: float) -> Pair:
        """Fit two time constants that can be told apart."""
        mean1, s11, y1, now1, _ = fast
        mean2, s22, y2, now2, _ = slow
        s12 = self._together(fast, slow)
        det = s11 * s22 - s12 * s12
        b1, b2 = (s22 * y1 - s12 * y2) / det, (s11 * y2 - s12 * y1) / det
        return Pair(
            b2,
            det / s11,
            now2,
            b1 * now1 + b2 * now2,
            (s22 * now1 * now1 - 2 * s12 * now1 * now2 + s11 * now2 * now2) / det,
            -b1 * mean1 - b2 * mean2,
            1 / self.n
            + (s22 * mean1 * mean1 - 2 * s12 * mean1 * mean2 + s11 * mean2 * mean2) / det,
            prior_ss + max(0.0, self.syy - b1 * y1 - b2 * y2),
        )


def rung_between(fits: list[Fit]) -> int | None:
    """Return the rung at the bottom of a parabola through the best fit and its two neighbours.

    ``fits`` are by rising rung. Half way to its one neighbour where the best is at either end; None
    where that is next to it.
    """
    least, k = fits[0][4], 0
    for i, fit in enumerate(fits):
        if fit[4] < least:
            least, k = fit[4], i
    at = fits[k][5]
    if k in (0, len(fits) - 1):
        beside = fits[1 if k == 0 else k - 1][5]
        return (at + beside) // 2 if abs(at - beside) > 2 else None
    below, above = fits[k - 1][5], fits[k + 1][5]
    if above - below < 3:
        return None
    y0, y1, y2 = log(fits[k - 1][4]), log(least), log(fits[k + 1][4])
    left, right = (at - below) * (y1 - y2), (at - above) * (y1 - y0)
    if left == right:
        return None
    x = at - 0.5 * ((at - below) * left - (at - above) * right) / (left - right)
    rung = round(x)
    if rung == at:
        # At the best one already: look into the wider gap beside it.
        wider = above if above - at > at - below else below
        rung = at + (round(0.25 * (wider - at)) or (1 if wider > at else -1))
    return rung if rung not in {below, above} else None
