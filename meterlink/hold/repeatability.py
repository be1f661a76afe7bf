"""Mean, standard deviation and serial correlation of readings as they stream by."""

from collections.abc import Iterable
from math import inf, nan, sqrt


class Running:
    """Statistics of a stream in constant memory.

    Values are taken relative to the first one, so that a large level with a small spread keeps
    its digits (B. P. Welford, *Technometrics* 4, 1962, 419-420, for the sums of squares).
    """

    def __init__(self, values: Iterable[float] = ()) -> None:
        self.n = 0
        self._base = 0.0
        self._mean = 0.0
        self._squares = 0.0
        self._products = 0.0
        self._newest = 0.0
        for value in values:
            self.add(value)

    def add(self, value: float) -> None:
        """Take one value."""
        if not self.n:
            self._base = value
        x = value - self._base
        self._products += x * self._newest
        self._newest = x
        self.n += 1
        off = x - self._mean
        self._mean += off / self.n
        self._squares += off * (x - self._mean)

    @property
    def mean(self) -> float:
        """Mean; not-a-number of nothing."""
        return self._base + self._mean if self.n else nan

    @property
    def sd(self) -> float:
        """Sample standard deviation, n - 1 degrees of freedom; infinite of one value."""
        return sqrt(self._squares / (self.n - 1)) if self.n > 1 else inf

    @property
    def lag_one(self) -> float:
        """Lag-one autocorrelation coefficient; 0 where the values do not vary."""
        if not self._squares:
            return 0.0
        # The first value is 0 by choice of the base, so its deviation is minus the mean.
        ends = self._newest
        total = self._mean * self.n
        m = self._mean
        return (self._products - m * (2 * total - ends) + (self.n - 1) * m * m) / self._squares

    @property
    def inflation(self) -> float:
        """By how much serial correlation makes the variance of the mean larger than s² / n.

        ``(1 + r) / (1 - r)`` for noise of first order, at least 1. The estimate of ``r`` is
        biased by about ``-1 / n``, which is put back; below eight values it tells nothing.
        """
        if self.n < 8:
            return 1.0
        r = min(max(self.lag_one + 1.0 / self.n, 0.0), 0.9)
        return (1 + r) / (1 - r)
