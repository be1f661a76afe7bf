"""A. Wald's sequential probability ratio test of a normal mean, noise known.

Used as the oracle that the hold detector is measured against, which knows the noise and the
moment at which settling ends. *Ann. Math. Statist.* 16, 1945, 117-186.
"""

from collections.abc import Iterator
from math import log
from typing import NamedTuple


class Plan(NamedTuple):
    """Decide between means ``low`` and ``high`` of normal values of standard deviation ``sd``."""

    low: float
    high: float
    sd: float
    alpha: float
    """Risk to decide for ``high`` where ``low`` is true."""
    beta: float
    """Risk to decide for ``low`` where ``high`` is true."""

    @property
    def bounds(self) -> tuple[float, float]:
        """Logarithms of the likelihood ratio at which the test ends, low and high."""
        return log(self.beta / (1 - self.alpha)), log((1 - self.beta) / self.alpha)

    @property
    def slope(self) -> float:
        """Slope of the two lines between which the sum of the values goes on."""
        return (self.low + self.high) / 2

    def intercepts(self) -> tuple[float, float]:
        """Where these lines begin."""
        a, b = self.bounds
        scale = self.sd**2 / (self.high - self.low)
        return a * scale, b * scale

    def expected(self) -> tuple[float, float, float]:
        """Expected numbers of values where low, high, and the mean midway between is true.

        Overshoot of the bounds is left out, so these are lower bounds.
        """
        a, b = self.bounds
        scale = 2 * self.sd**2 / (self.high - self.low) ** 2
        at_low = -((1 - self.alpha) * a + self.alpha * b) * scale
        at_high = (self.beta * a + (1 - self.beta) * b) * scale
        return at_low, at_high, -a * b * scale / 2

    def run(self, values: Iterator[float]) -> tuple[bool, int]:
        """Take values until decided; whether for ``high``, and how many it took."""
        a, b = self.bounds
        ratio, n = 0.0, 0
        while a < ratio < b:
            ratio += (self.high - self.low) / self.sd**2 * (next(values) - self.slope)
            n += 1
        return ratio >= b, n
