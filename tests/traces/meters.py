"""Meters for the seeded traces: sending rate, resolution and noise, drawn at random."""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RATES = (2.0, 2.5, 3.0, 4.0, 5.0, 6.7, 10.0, 12.5, 15.0, 20.0, 30.0, 50.0, 100.0, 250.0, 1000.0)
"""Readings a second. The slow ones are drawn more often, as they are met more often."""
RATE_WEIGHTS = (8, 6, 8, 10, 12, 8, 14, 6, 6, 10, 6, 5, 5, 2, 1)
COUNTS = (2_000, 4_000, 6_000, 20_000, 50_000, 120_000, 1_000_000)


class Shape(Enum):
    """How the noise of a meter is distributed."""

    GAUSSIAN = "gaussian"
    HEAVY = "heavy"
    CORRELATED = "correlated"


class Digits(Enum):
    """What is known of the last digit."""

    KNOWN = "known"
    """The driver tells the step."""
    SILENT = "silent"
    """Values are rounded, and nobody says how."""
    NINE = "nine"
    """Nine digits of mantissa are printed, of which the converter resolves fewer."""


@dataclass(frozen=True)
class Meter:
    """One meter as it is for a whole trace."""

    rate: float
    counts: int
    shape: Shape
    phi: float
    """Lag-one autocorrelation where the noise is correlated."""
    noise_counts: float
    noise_share: float
    jitter: float
    """Standard deviation of the time stamps, in sending intervals."""
    burst: int
    """Readings that arrive together, 1 for none."""
    digits: Digits
    ripple_hz: float
    """0 for none."""
    ripple_sds: float

    def resolution(self, value: float) -> float:
        """Step of the last digit on the range that holds ``value``, down to a microohm."""
        first = int(str(self.counts)[0])
        decade = np.ceil(np.log10(max(abs(value), 0.15) * 1.0001 / first))
        return max(float(first * 10.0**decade / self.counts), 1e-6)

    def sd(self, value: float) -> float:
        """Standard deviation of one reading, before rounding."""
        return self.noise_counts * self.resolution(value) + self.noise_share * abs(value)

    def noise(self, n: int, rng: np.random.Generator) -> Floats:
        """``n`` values of unit standard deviation."""
        white = rng.standard_normal(n)
        if self.shape is Shape.HEAVY:
            return white / np.sqrt(rng.chisquare(4, n) / 4) / np.sqrt(2.0)
        if self.shape is Shape.CORRELATED:
            out = np.empty(n)
            last = white[0] if n else 0.0
            fresh = np.sqrt(1 - self.phi**2)
            for i in range(n):
                last = out[i] = self.phi * last + fresh * white[i] if i else white[0]
            return out
        return white


def draw_meter(rng: np.random.Generator, rate: float | None = None, hard: bool = True) -> Meter:
    """Draw a meter; ``rate`` fixes how often it sends, ``hard`` allows more noise."""
    weights = np.array(RATE_WEIGHTS, float)
    sends = float(rng.choice(RATES, p=weights / weights.sum())) if rate is None else rate
    if rate is None and rng.random() < 0.3:
        sends *= float(rng.uniform(0.85, 1.18))
        sends = min(max(sends, 2.0), 1000.0)
    shape = rng.choice([Shape.GAUSSIAN, Shape.GAUSSIAN, Shape.HEAVY, Shape.CORRELATED])
    quiet = rng.random() < 0.35
    ripple = sends >= 75 and rng.random() < 0.4
    return Meter(
        rate=sends,
        counts=int(rng.choice(COUNTS)),
        shape=shape,
        phi=float(rng.uniform(0.2, 0.8)) if sends < 100 else float(rng.uniform(0.2, 0.9)),
        noise_counts=0.0
        if quiet and rng.random() < 0.3
        else float(10 ** rng.uniform(-1.3, 0.4 if hard else 0.2)),
        noise_share=0.0 if quiet else float(10 ** rng.uniform(-5.5, -2.8 if hard else -3.5)),
        jitter=float(rng.choice([0.0, 0.0, 0.02, 0.1, 0.25])),
        burst=int(rng.choice([2, 3, 5])) if rng.random() < 0.05 and sends >= 5 else 1,
        digits=rng.choice([Digits.KNOWN, Digits.KNOWN, Digits.SILENT, Digits.NINE]),
        ripple_hz=float(rng.choice([50.0, 60.0])) if ripple else 0.0,
        ripple_sds=float(10 ** rng.uniform(-0.3, 1.0)),
    )
