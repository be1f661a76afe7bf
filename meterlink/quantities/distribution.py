"""What a true value may be: normal, rectangular and Student parts, put together by convolution.

The framework of the GUM takes every combination for a normal or a t-distribution. Where a few
rectangular parts dominate that overstates the tails: three equal ones reach 95 % at 1.937 standard
deviations, not 1.960 (GUM G.2.2). Here the distributions themselves are convolved (JCGM 101,
5.2), on a grid and in plain Python, as ``meterlink judge`` is to answer before numpy has loaded.
"""

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from math import asinh, cosh, erf, erfc, exp, lgamma, log, pi, sinh, sqrt
from typing import Final

_CELLS: Final = 400
"""Cells of the grid, from end to end."""
_FOLDED: Final = 0.0025
"""A part with a smaller share of the variance goes into the normal part: no probability moves by
more than a few in ten thousand."""
_AS_NORMAL: Final = 200.0
"""Degrees of freedom from which a Student part counts as normal."""
_MIDDLE: Final = _CELLS // 2
_FAR: Final = 30.0
"""Scales of a Student part that the grid covers, either way."""
_REACH: Final = 8.0
"""Standard deviations of the normal part that the grid covers, either way."""
_STEP: Final = 0.06
"""Between the points at which a Student part is sampled, as the inverse hyperbolic sine."""


class Distribution:
    """A symmetric distribution about nought: normal, Student and rectangular parts in sum."""

    def __init__(
        self,
        sigma: float,
        half_widths: Sequence[float] = (),
        students: Sequence[tuple[float, float]] = (),
    ) -> None:
        """Put the parts together.

        Args:
            sigma: standard deviation of the normal part.
            half_widths: of the rectangular parts.
            students: scale and degrees of freedom of each Student part.
        """
        variance = (
            sigma * sigma + sum(s * s for s, _ in students) + sum(a * a for a in half_widths) / 3
        )
        kept = sorted((a for a in half_widths if a * a / 3 > _FOLDED * variance), reverse=True)
        # Few degrees of freedom have long tails, which matter even where the scale is small.
        heavy = sorted(
            (
                (scale, dof)
                for scale, dof in students
                if dof < _AS_NORMAL and scale * scale * (1 + 50 / dof**2) > _FOLDED * variance
            ),
            reverse=True,
        )
        normal = max(0.0, variance - sum(s * s for s, _ in heavy) - sum(a * a for a in kept) / 3)
        if heavy and normal + sum(a * a for a in kept) / 3 < 4 * _FOLDED * heavy[0][0] ** 2:
            heavy[0], normal, kept = (sqrt(heavy[0][0] ** 2 + normal), heavy[0][1]), 0.0, []
        self._sigma = sqrt(normal)
        self._first = kept[0] if kept else 0.0
        self._nodes = _student_nodes(heavy[0][1]) if heavy else ()
        self._scale = heavy[0][0] if heavy else 0.0
        self._half, self._step, self._grid = 0.0, 0.0, [0.0]
        if len(kept) > 1 or len(heavy) > 1:
            self._tabulate(kept, heavy[1:])
        self._usual = 2 * sqrt(variance)
        self.reach = 1e6 * self._usual
        """So far from nought there is nothing left to speak of."""

    def below(self, x: float) -> float:
        """Return the probability of a value below ``x``."""
        if not self._scale:
            return self._light(x)
        if not self._sigma and not self._first and not self._step:
            return _student_below(x / self._scale, self._nodes)
        return sum(w * self._light(x - self._scale * at) for at, w in self._nodes)

    def quantile(self, p: float) -> float:
        """Return the value below which lies the probability ``p``."""
        if p > 0.5:
            return -self.quantile(1 - p)
        high, low = 0.0, -self._usual
        while self.below(low) > p and low > -self.reach:
            high, low = low, 2 * low
        while high - low > 1e-5 * abs(low):
            middle = (low + high) / 2
            if self.below(middle) < p:
                low = middle
            else:
                high = middle
        return (low + high) / 2

    def _light(self, x: float) -> float:
        """All but the widest Student part."""
        if not self._step:
            return self._closed(x)
        place = (x + self._half) / self._step
        if place <= 0:
            return self._grid[0]
        if place >= _CELLS:
            return self._grid[-1]
        cell = int(place)
        left = self._grid[cell]
        return left + (place - cell) * (self._grid[cell + 1] - left)

    def _closed(self, x: float) -> float:
        """The normal part and the widest rectangular one, whose sum has a closed form."""
        a, sigma = self._first, self._sigma
        if not a:
            if not sigma:
                return 1.0 if x >= 0 else 0.0
            return erfc(-x / (sigma * sqrt(2))) / 2
        if not sigma:
            return min(1.0, max(0.0, (x + a) / (2 * a)))
        if x > 0:  # by symmetry, so that the small side keeps its digits
            return 1.0 - self._closed(-x)
        return max(0.0, (_ramp(x + a, sigma) - _ramp(x - a, sigma)) / (2 * a))

    def _tabulate(self, kept: Sequence[float], heavy: Sequence[tuple[float, float]]) -> None:
        """Convolve with the further parts: the rectangular ones first, each a moving mean."""
        half = sum(kept) + _REACH * self._sigma + _FAR * sum(scale for scale, _ in heavy)
        self._half, step = half, 2 * half / _CELLS
        places = [step * i - half for i in range(_CELLS + 1)]
        grid = [self._closed(x) for x in places]
        for a in kept[1:]:
            sums = [0.0]
            for left, right in pairwise(grid):
                sums.append(sums[-1] + step * (left + right) / 2)

            def area(x: float, grid: list[float] = grid, sums: list[float] = sums) -> float:
                if x <= -half:
                    return 0.0
                if x >= half:
                    return sums[-1] + (x - half)
                cell = min(_CELLS - 1, int((x + half) / step))
                into = x + half - cell * step
                slope = (grid[cell + 1] - grid[cell]) / step
                return sums[cell] + into * (grid[cell] + slope * into / 2)

            grid = [(area(x + a) - area(x - a)) / (2 * a) for x in places]
        self._step, self._grid = step, grid
        for scale, dof in heavy:
            nodes = _student_nodes(dof, 2 * _STEP)
            # By symmetry one half is enough.
            low = [sum(w * self._light(x - scale * t) for t, w in nodes) for x in places[:_MIDDLE]]
            self._grid = [*low, 0.5, *(1.0 - p for p in reversed(low))]


def _ramp(x: float, sigma: float) -> float:
    """The integral of the normal distribution function up to ``x``."""
    z = x / sigma
    if z < -38:
        return 0.0
    below = erfc(-z / sqrt(2)) / 2 if z < 0 else (1 + erf(z / sqrt(2))) / 2
    return x * below + sigma * exp(-z * z / 2) / sqrt(2 * pi)


def _student_below(t: float, nodes: Sequence[tuple[float, float]]) -> float:
    """Student's distribution by itself, between two of its points by the line between them."""
    at = asinh(t) / _STEP + len(nodes) // 2 + 0.5
    whole = max(0, min(int(at), len(nodes) - 1)) if at > 0 else 0
    below = sum(w for _, w in nodes[:whole])
    return min(1.0, below + max(0.0, min(1.0, at - whole)) * nodes[whole][1])


@lru_cache(maxsize=64)
def _student_nodes(dof: float, step: float = _STEP) -> tuple[tuple[float, float], ...]:
    """Return points and weights that stand for Student's distribution.

    Evenly spaced in the inverse hyperbolic sine of t, where the trapezium rule converges quickly
    and the long tails of few degrees of freedom need few points.
    """
    constant = lgamma((dof + 1) / 2) - lgamma(dof / 2) - log(dof * pi) / 2
    last = max(4.0, 16.0 / max(dof, 1.0))
    count = int(last / step)
    points = []
    for i in range(-count, count + 1):
        t = sinh(i * step)
        density = exp(constant - (dof + 1) / 2 * log(1 + t * t / dof))
        points.append((t, density * cosh(i * step)))
    total = sum(w for _, w in points)
    return tuple((t, w / total) for t, w in points)
