"""Mean, standard deviation and lag-1 autocorrelation of a stream, in constant memory.

Each update is exact algebra on deviations from the running mean (Welford, Technometrics 4, 1962,
for the sum of squares), so nothing large is ever subtracted from something large; values are
first taken relative to the first one, which costs no digits where readings lie close together.
"""

from math import nan, sqrt


class Statistics:
    """What a stream of values comes to so far.

    The autocorrelation tells whether readings are independent: where it is high, the standard
    deviation over the square root of ``count`` flatters the mean.
    """

    __slots__ = ("_first", "_lagged", "_mean", "_newest", "_squares", "count")

    def __init__(self) -> None:
        self.count = 0
        """How many values were added."""
        self._first = 0.0
        self._newest = 0.0
        self._mean = 0.0
        self._squares = 0.0
        """Sum over i of d_i squared, d being deviations from the mean."""
        self._lagged = 0.0
        """Sum over i of d_i times d_(i+1)."""

    def add(self, value: float) -> None:
        """Take the next value; it must be finite."""
        if self.count == 0:
            self._first = value
        x = value - self._first
        n = self.count
        ahead = x - self._mean
        step = ahead / (n + 1)
        # Moving the mean by ``step`` changes every old product d_i * d_(i+1); as the old
        # deviations sum to zero, only the outermost two remain in the change.
        outer = (self._newest - self._mean) + (0.0 - self._mean)
        if n:
            self._lagged += step * outer + (n - 1) * step * step
            self._lagged += (self._newest - self._mean - step) * (ahead - step)
        self._mean += step
        self._squares += ahead * (ahead - step)
        self._newest = x
        self.count = n + 1

    @property
    def mean(self) -> float:
        """Arithmetic mean; not-a-number before the first value."""
        return self._first + self._mean if self.count else nan

    @property
    def sd(self) -> float:
        """Standard deviation of one value, with n - 1; not-a-number before the second."""
        return sqrt(self._squares / (self.count - 1)) if self.count > 1 else nan

    @property
    def lag1(self) -> float:
        """Lag-1 autocorrelation coefficient; not-a-number where all values are equal."""
        return self._lagged / self._squares if self._squares else nan
