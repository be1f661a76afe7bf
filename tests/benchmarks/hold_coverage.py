"""Does the interval of a held value hold the truth, at the moment the hold stops?

Steady touches of random meters are fed to the detector; of each hold the 95 % interval is taken,
Student's t with the stated degrees of freedom times the root of ``u`` squared and the rounding's
variance, and it is counted how often the true value lies within. Stopping is optional and depends
on the data, so this is where an interval meant for a fixed number of readings would fail. Serial
correlation that three or four readings cannot show is the hard case and stands by itself.

Run: python tests/benchmarks/hold_coverage.py [touches a row, default 20000]
"""

import sys
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from scipy import stats

from meterlink.events import Held
from meterlink.hold.detector import HoldDetector
from meterlink.hold.stopping import DecisionEdges
from meterlink.reading import Reading


@dataclass(frozen=True)
class Case:
    """One kind of meter, and how near an edge its values are."""

    name: str
    noise_steps: float
    phi: float = 0.0
    heavy: bool = False
    edge_sds: float | None = None


CASES = (
    Case("white noise of half a step", 0.5),
    Case("white noise of two steps", 2.0),
    Case("white noise of two steps, an edge two standard deviations away", 2.0, edge_sds=2.0),
    Case("no noise but rounding", 0.0),
    Case("heavy tails (t, 4 degrees of freedom)", 1.0, heavy=True),
    Case("serial correlation 0.5", 1.0, phi=0.5),
)
STEP, VALUE = 0.1, 200.0


@lru_cache(maxsize=4096)
def quantile(dof: float) -> float:
    """Student's t for 95 %, two-sided."""
    return float(stats.t.ppf(0.975, dof))


def noise(rng: np.random.Generator, case: Case, n: int) -> np.ndarray:
    """Noise of unit standard deviation."""
    x = rng.standard_normal(n)
    if case.heavy:
        return x / np.sqrt(rng.chisquare(4, n) / 4) / sqrt(2)
    for i in range(1, n):
        x[i] = case.phi * x[i - 1] + sqrt(1 - case.phi**2) * x[i]
    return x


def touch(rng: np.random.Generator, case: Case, rate: float) -> tuple[float, Held | None]:
    """True value and hold of one touch."""
    truth = VALUE + rng.uniform(-0.5, 0.5)
    sd = case.noise_steps * STEP
    aim = None if case.edge_sds is None else DecisionEdges(edges=(truth + case.edge_sds * sd,))
    detector = HoldDetector(aim=aim)
    values = np.round((truth + sd * noise(rng, case, 60)) / STEP) * STEP
    for i, value in enumerate(values):
        for event in detector.feed(Reading(i / rate, float(value), resolution=STEP)):
            if isinstance(event, Held):
                return truth, event
    return truth, None


def error_of(share: float, n: int) -> float:
    """Standard error of a share of ``n``."""
    return sqrt(share * (1 - share) / n)


def main() -> None:
    """Print coverage with its standard error, case by case."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    print(f"{count} touches a row, 2 to 20 readings/s; coverage of the stated 95 % interval")
    for k, case in enumerate(CASES):
        rng = np.random.default_rng(k)
        inside, held, readings, error = 0, 0, 0, 0.0
        for _ in range(count):
            truth, hold = touch(rng, case, float(rng.choice([2.0, 5.0, 10.0, 20.0])))
            if hold is None:
                continue
            held += 1
            readings += hold.readings
            half = quantile(round(hold.dof, 1)) * sqrt(hold.u**2 + hold.resolution**2 / 12)
            inside += abs(hold.value - truth) <= half
            error += (hold.value - truth) ** 2
        share = inside / held
        print(
            f"  {case.name:64s} {100 * share:6.2f} % +- {100 * error_of(share, held):.2f}"
            f"   held {held}, mean readings {readings / held:.1f}, rms error "
            f"{sqrt(error / held) / STEP:.2f} steps",
            flush=True,
        )


if __name__ == "__main__":
    main()
