"""How readings lie in time, and the points that are weighed: readings, or the mean of a few.

A meter's sending interval is learnt as it goes, and readings are counted onto an even grid. Those
of a fast meter are averaged over short blocks that are blind to mains ripple.
"""

from collections.abc import Sequence
from functools import lru_cache
from math import inf, sqrt
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
_FAST: Final = 42.0
"""Above this many readings a second, readings are averaged over blocks ..."""
_BLOCK_TIME: Final = 0.03
"""... that last at least this long, seconds ..."""
_FASTEST_PLAIN: Final = 70.0
"""... and above this many a second are blind to mains ripple of ..."""
_MAINS: Final = (50.0, 60.0)
"""... these frequencies, hertz."""
_LONE: Final = 8
"""Outliers are at most one in so many of a block ..."""
_APART: Final = 4.0
"""... and so many times further from its median than all other readings."""
_TOLD_APART: Final = 6
"""Readings in a block from which on an outlier is told from such a phase, which comes twice."""


class Cadence:
    """The sending interval of one stream, and places of its readings that many seconds apart.

    The interval is the mean over the newest 64 to 512 readings, pauses left out, so that jitter
    and bursts average away. A converter takes its readings evenly however late their time stamps
    are, so readings are counted; where one comes later than jitter explains, others are missing,
    and as many places are left out. Of readings that a driver hands over several at once all but
    the first are ahead of their time stamps, until the next ones have caught up. A meter that
    suddenly sends at another rate is learnt again.
    """

    _SLOWEST_LONG = 0.014
    """Below this interval, seconds, the mean runs over 512 readings."""
    _LONGEST_BURST = 8
    """Readings in a row that may be ahead of their time stamps; after more the grid has slipped."""
    _LATE = 0.75
    """Intervals that a reading may be late without another one missing."""
    _FOLLOWS = 0.1
    """Share by which the grid follows time stamps that are early; late ones it follows at once."""
    _MOST_MISSING = 1000
    """Places that are left out at most: further apart, readings have nothing to do with another."""
    _QUICK = 64
    """Readings in a row ahead of their time stamps that are no burst, but a shorter interval."""
    _SLOW = 3
    """Gaps in a row that are no pause, nor between bursts, but another sending interval."""

    def __init__(self) -> None:
        self.interval = 0.0
        """Seconds between readings; 0 until two have come."""
        self.place = 0
        """Of the newest reading, in intervals."""
        self._last = -inf
        self._grid = 0.0
        self._mark = 0.0
        self._count = 0
        self._every = 1
        self._ahead = 0
        """Readings in a row that were ahead of their time stamps ..."""
        self._ahead_from = 0.0
        """... since then, and ..."""
        self._least = 0.0
        """... by how much at least since the grid was last set."""
        self._slow = 0
        """Long gaps in a row ..."""
        self._slow_at = 0
        self._slow_from = 0.0
        """... since then."""

    def tick(self, t: float) -> bool:
        """Take the time of a reading; True when the interval was learnt again."""
        gone = t - self._last
        self._last = t
        self._count += 1
        self.place += 1
        interval = self.interval
        self._grid = grid = self._grid + interval
        late = t - grid
        if late > 0.0:
            if late > self._LATE * interval > 0.0:
                self.place += round(min(late / interval, self._MOST_MISSING))
            self._grid = t
            self._ahead = 0
        elif late > -0.5 * interval:
            self._grid = grid + self._FOLLOWS * late
            self._ahead = 0
        else:
            if not self._ahead:
                self._least, self._ahead_from = -inf, t - gone
            # The first of a burst is the least ahead.
            self._least = max(self._least, late)
            self._ahead += 1
            if self._ahead == self._QUICK:
                self._learn_again(t, self._ahead_from, self._QUICK)
                return True
            if self._ahead % (self._LONGEST_BURST + 1) == 0 and self._least > -inf:
                self._grid, self._least = grid + self._least, -inf
        if self._count < self._every and gone <= 5 * interval:
            return False
        return self._learn(t, gone)

    def _learn(self, t: float, gone: float) -> bool:
        if gone == inf:
            self._mark, self._count = t, 0
            return False
        if self.interval and gone > 5 * self.interval and self._count < self._every > 8:
            if self._is_slower(t, gone):
                self._learn_again(t, self._slow_from, self._slow)
                return True
            # A pause of the meter is no sending interval; the wait between bursts is.
            if gone > 1.0:
                self._mark += gone - self.interval
            return False
        self.interval = (t - self._mark) / self._count
        if self._every < 64 or (self.interval < self._SLOWEST_LONG and self._every < 512):
            self._every *= 2
        else:
            self._mark, self._count = t, 0
        return True

    def _learn_again(self, t: float, start: float, count: int) -> None:
        """Take the interval of the newest ``count`` readings alone."""
        self._mark, self._count, self._every = start, count, 2 * count
        self.interval = (t - start) / count
        self._grid = t
        self._ahead = self._slow = 0

    def _is_slower(self, t: float, gone: float) -> bool:
        """Whether another long gap makes enough of them in a row."""
        in_a_row = self._slow and self._count == self._slow_at + 1
        self._slow = self._slow + 1 if in_a_row else 1
        self._slow_at = self._count
        if not in_a_row:
            self._slow_from = t - gone
        return self._slow >= self._SLOW


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


class Points:
    """Readings in; out come the points that are weighed, each with its place on an even grid."""

    def __init__(self) -> None:
        self._cadence = Cadence()
        self._blocks = Blocks(_MAINS, _FASTEST_PLAIN, _BLOCK_TIME)
        self.size = 1
        """Readings in a point."""
        self.every = 0.0
        """Seconds from one place on the grid to the next."""

    def tick(self, t: float) -> bool:
        """Take the time of a reading; True where points are of another size from now on."""
        if not self._cadence.tick(t):
            return False
        interval, was, self.size = self._cadence.interval, self.size, 1
        if 0.0 < interval * _FAST < 1.0:
            self._blocks.tune(1 / interval)
            self.size = self._blocks.size
        self.every = interval * self.size
        return was != self.size

    @property
    def interval(self) -> float:
        """Seconds between readings."""
        return self._cadence.interval

    @property
    def place(self) -> int:
        """Of the newest point."""
        return self._cadence.place // self.size

    def clear(self) -> None:
        """Forget the block that was begun."""
        self._blocks.clear()

    def take(self, value: float) -> float | None:
        """Take a reading; return the point that it ends, if it ends one."""
        return value if self.size == 1 else self._blocks.feed(value)

    def sd_of_reading(self, scatter: float) -> float:
        """Standard deviation of one reading within blocks; 0 where points are readings.

        Where a block is too short to tell: as if half of the ``scatter`` of blocks were shared by
        all.
        """
        if self.size == 1:
            return 0.0
        variance = self._blocks.variance
        return 0.7 * scatter / self._blocks.gain if variance is None else sqrt(variance)

    def noise_of_reading(self, noise: float, scatter: float) -> float:
        """What ``noise`` of a reading is told, where blocks too short to tell it were weighed."""
        if self.size > 1 and self._blocks.variance is None:
            return max(noise, scatter / self._blocks.gain)
        return noise
