"""Are the stated uncertainties and probabilities true? A simulated meter, leads and winding.

Gain, offset, temperature and noise are drawn afresh in every trial (the propagation of
distributions, JCGM 101); true values lie evenly within a quarter of the window's high end, some
of them close to it. Shown for each situation: how often the stated 95 % interval holds the
truth; how often the verdict is clear; how often a clear verdict is wrong; and how often all
verdicts are wrong, against what their own probabilities promise.

Run: python tests/benchmarks/verdict_honesty.py [trials a situation, default 20000]
"""

import sys
import time
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from meterlink.events import Held
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.correction import UNKNOWN_TEMPERATURE, LeadZero, Temperature
from meterlink.judging.criterion import Criterion
from meterlink.quantities.window import Window

HIGH, LEADS, STEP = 1.0, 0.12, 0.001
CRITERION = Criterion.winding(Window(0.7, HIGH), reference=20.0)
TAKEN = Temperature(celsius=25.0)


@dataclass(frozen=True)
class Situation:
    """How the meter, the leads and the winding behave, and what is known of them."""

    name: str
    percent: float = 0.8
    counts: float = 3.0
    noise: float = 0.002
    readings: int = 5
    zero_step: float = STEP
    temperature: Temperature = TAKEN


SITUATIONS = (
    Situation("handheld meter, zero on the same range"),
    Situation("handheld meter, zero on another range", zero_step=10 * STEP),
    Situation("three noisy readings, good meter", percent=0.05, noise=0.01, readings=3),
    Situation("ten noisy readings, good meter", percent=0.05, noise=0.01, readings=10),
    Situation("temperature unknown", temperature=UNKNOWN_TEMPERATURE),
)


def trial(rng: np.random.Generator, how: Situation) -> tuple[bool, bool, bool, float]:
    """Return: interval holds the truth, verdict is clear, verdict is wrong, promised risk."""
    same_range = how.zero_step == STEP
    truth = HIGH * rng.uniform(0.75, 1.25)
    gain = 1 + rng.uniform(-1, 1) * how.percent / 100
    offset = rng.uniform(-1, 1) * how.counts * STEP
    zero_offset = offset if same_range else rng.uniform(-1, 1) * how.counts * how.zero_step
    warm = how.temperature
    celsius = warm.celsius + rng.uniform(-1, 1) * warm.half_width
    found = truth * (235 + celsius) / 255
    shown = _shown(rng, gain * (found + LEADS) + offset, how, STEP)
    zero = _shown(rng, gain * LEADS + zero_offset, how, how.zero_step)
    n = how.readings
    leads = LeadZero(
        value=float(zero.mean()),
        u=float(zero.std(ddof=1)) / sqrt(n),
        dof=n - 1.0,
        resolution=how.zero_step,
    )
    spec = (Accuracy(percent=how.percent, counts=how.counts),)
    noise = float(shown.std(ddof=1))
    held = Held(
        t=1.0,
        contact_t=0.0,
        value=float(shown.mean()),
        readings=n,
        noise=noise,
        resolution=STEP,
        u=noise / sqrt(n),
        dof=n - 1.0,
    )
    assessed = Assessor(CRITERION, spec, leads, warm).assess(held)
    judged = assessed.judgement
    right = CRITERION.verdict(truth)
    covered = abs((assessed.corrected or inf) - truth) <= assessed.expanded
    return covered, judged.clear, judged.verdict is not right, 1 - judged.probability


def _shown(rng: np.random.Generator, value: float, how: Situation, step: float) -> np.ndarray:
    readings = value + rng.normal(0, how.noise, how.readings)
    return np.round(readings / step) * step


def main() -> None:
    """Print the table."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    print(f"{trials} trials a situation, seed 7")
    heads = f"{'covered':>9}{'clear':>8}{'clear wrong':>13}{'wrong':>8}{'promised':>10}"
    print(f"{'situation':<42}{heads}")
    for how in SITUATIONS:
        rng = np.random.default_rng(7)
        begun = time.perf_counter()
        seen = np.array([trial(rng, how) for _ in range(trials)], dtype=float)
        covered, clear, wrong, risk = seen.T
        clear_wrong = float((clear * wrong).sum() / max(1.0, clear.sum()))
        print(
            f"{how.name:<42}{covered.mean():>9.2%}{clear.mean():>8.1%}{clear_wrong:>13.2%}"
            f"{wrong.mean():>8.2%}{risk.mean():>10.2%}"
            f"   {(time.perf_counter() - begun) / trials * 1e6:.0f} µs a trial"
        )


if __name__ == "__main__":
    main()
