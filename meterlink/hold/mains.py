"""Fast meters: readings are averaged over short blocks that are blind to mains ripple."""

from collections.abc import Sequence
from functools import lru_cache
from operator import mul
from typing import Final

import numpy as np
from numpy.typing import NDArray

_LONGEST: Final = 64
"""Most readings in a block of a meter that sends up to 1,000 a second."""
_LONGEST_SHARE: Final = 3
"""For faster ones: most readings, as a multiple of those that the least time takes."""
_FASTEST: Final = 3e4
"""Readings a second above which blocks grow no longer: no meter, but a clock that stands still."""
_LONE: Final = 8
"""Outliers are at most one in so many of a block ..."""
_APART: Final = 4.0
"""... and so many times further from its median than all other readings."""
_TOLD_APART: Final = 6
"""Readings in a block from which on an outlier is told from such a phase, which comes twice."""


@lru_cache(maxsize=64)
def blind_weights(rate: float, mains: tuple[float, ...], least_time: float) -> tuple[float, ...]:
    """Weights of the shortest block that takes the mean and does not see mains ripple.

    They sum to one, are orthogonal to sine and cosine of each frequency, and of all such weights
    pass the least noise (minimum norm). A plain mean over whole periods is the special case of
    one frequency that divides the rate. Blindness to both frequencies at once takes 30 to 70 ms
    and needs no look at the data. A frequency that the rate folds onto zero cannot be told from
    the value and is left out.

    Args:
        rate: readings a second, evenly spaced.
        mains: frequencies to be blind to, hertz.
        least_time: how long the block lasts at least, seconds.
    """
    seen = [f for f in mains if abs(f / rate - round(f / rate)) > 0.02]
    weights = [1.0]
    least = max(2, round(least_time * rate))
    for m in range(least, max(_LONGEST, _LONGEST_SHARE * least)):
        rows = _rows(rate, seen, m)
        target = np.zeros(len(rows))
        target[0] = 1.0
        w = np.asarray(np.linalg.lstsq(rows, target, rcond=1e-6)[0], float)
        weights = w.tolist()
        if np.abs(rows @ w - target).max() < 1e-3 and m * (w @ w) < 1.6:
            break
    return tuple(weights)


@lru_cache(maxsize=64)
def mains_rows(rate: float, mains: tuple[float, ...], m: int) -> tuple[tuple[float, ...], ...]:
    """Orthonormal rows that span a constant and the mains frequencies over ``m`` readings."""
    _, size, right = np.linalg.svd(_rows(rate, mains, m), full_matrices=False)
    return tuple(tuple(row) for row in right[size > 1e-2 * size[0]].tolist())


def _rows(rate: float, mains: Sequence[float], m: int) -> NDArray[np.float64]:
    phase = 2 * np.pi / rate * np.outer(mains, np.arange(m))
    return np.vstack([np.ones(m), np.cos(phase), np.sin(phase)])


class Blocks:
    """Readings in, now and then the mean of a block out."""

    def __init__(self, mains: tuple[float, ...], fastest_plain: float, least_time: float) -> None:
        """Make plain means below ``fastest_plain`` readings a second, blind ones above.

        Slower meters integrate over whole mains periods on their own.
        """
        self._mains, self._fastest_plain, self._least_time = mains, fastest_plain, least_time
        self._weights: tuple[float, ...] = (1.0,)
        self._rows: tuple[tuple[float, ...], ...] = ()
        self._values: list[float] = []
        self.size = 1
        """Readings in a block."""
        self.gain = 1.0
        """Standard deviation of a block over that of a reading, for white noise."""
        self.variance: float | None = None
        """Variance of one reading within the newest block, what mains explains taken off.

        None where a block is too short to tell.
        """

    def tune(self, rate: float) -> None:
        """Make blocks for this many readings a second."""
        rate = min(float(f"{rate:.3g}"), _FASTEST)
        mains = self._mains if rate > self._fastest_plain else ()
        weights = blind_weights(rate, mains, self._least_time)
        if weights is self._weights:
            return
        self._weights = weights
        self._rows = mains_rows(rate, mains, len(weights))
        self._values.clear()
        self.size = len(weights)
        self.gain = sum(map(mul, weights, weights)) ** 0.5
        self.variance = None

    def clear(self) -> None:
        """Forget the block that was begun."""
        self._values.clear()

    def feed(self, value: float) -> float | None:
        """Take one reading; return the mean of the block that it ends, if it ends one."""
        values = self._values
        values.append(value)
        if len(values) < self.size:
            return None
        base = values[0]
        rest = [v - base for v in values]
        if self.size >= _TOLD_APART:
            rest = clipped(rest)
        values.clear()
        dof = self.size - len(self._rows)
        if dof >= 3:
            ss = sum(map(mul, rest, rest))
            for row in self._rows:
                ss -= sum(map(mul, rest, row)) ** 2
            self.variance = max(ss, 0.0) / dof
        mean: float = base + sum(map(mul, rest, self._weights))
        return mean


def clipped(values: list[float]) -> list[float]:
    """Values with lone outliers set to the median.

    Distances from the median are held against the largest that is not a lone one's, with a factor
    that leaves noise as it is. F. R. Hampel (*J. Am. Stat. Assoc.* 69, 1974, 383-393) takes the
    median of the distances, which says nothing where most values are rounded alike, or where the
    mains fall on three phases of the readings.
    """
    ranked = sorted(values)
    centre = ranked[len(values) // 2]
    distances = [abs(v - centre) for v in values]
    lone = max(1, len(values) // _LONE)
    limit = _APART * sorted(distances)[-lone - 1]
    if max(distances) <= limit:
        return values
    return [v if d <= limit else centre for v, d in zip(values, distances, strict=True)]
