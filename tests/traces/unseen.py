"""Restless touches by another hand: for proof, never for tuning.

Nothing is shared with ``restless.py`` but the form of the answer. Meters, distributions and the
way in which signals come about differ on purpose: physical contacts (a constriction whose spots
come and go), heat that leaves a part through its windings and its core, noise with heavy tails
and with a memory of several scales, meters that round towards zero or send in pairs.
Whoever changes the hold looks at these figures after the change, and changes nothing for them.
"""

import random
from collections.abc import Callable
from math import exp, floor, hypot, inf, nan, sqrt

import numpy as np

from meterlink.reading import Reading
from tests.traces.restless import Touch

Course = list[float]


class Bench:
    """A meter and a hand, drawn from ``random``."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.rate = rng.choice([2.4, 3.0, 4.0, 5.0, 8.0, 10.0, 16.0, 25.0, 40.0])
        self.counts = rng.choice([3000, 6600, 22_000, 60_000, 200_000])
        self.cuts = rng.random() < 0.3
        """Rounds towards zero."""
        self.pairs = rng.random() < 0.1
        """Sends two readings at once."""
        self.tells = rng.random() < 0.6
        """Its driver tells the step."""

    def step(self, value: float) -> float:
        lead = int(str(self.counts)[0])
        decade = 0
        while lead * 10.0**decade < value * 1.05 and decade < 9:
            decade += 1
        while decade > -1 and lead * 10.0 ** (decade - 1) >= value * 1.05:
            decade -= 1
        return lead * 10.0**decade / self.counts

    def shows(self, value: float, step: float) -> float:
        counts = value / step
        return step * (floor(counts + 0.02) if self.cuts else floor(counts + 0.5))


def _seconds(bench: Bench, long: bool) -> float:
    rng = bench.rng
    least = max(1.06, 6.6 / bench.rate)
    return rng.uniform(6.0, 22.0) if long else least + rng.betavariate(1.2, 3.0) * 6.0


def _noise_of(bench: Bench, value: float) -> float:
    rng, step = bench.rng, bench.step(value)
    size = value * rng.triangular(0.001, 0.05, 0.004)
    return min(rng.triangular(1.0, 30.0, 3.0) * step, 0.05 * value) if rng.random() < 0.4 else size


def hiss(bench: Bench, ts: Course, value: float) -> tuple[Course, Course, dict[str, float]]:
    """Noise without memory: Gaussian, uniform or with heavy tails."""
    rng, size = bench.rng, _noise_of(bench, value)
    kind = rng.choice(["normal", "uniform", "laplace"])
    noise = []
    for _ in ts:
        if kind == "normal":
            noise.append(size * rng.gauss(0, 1))
        elif kind == "uniform":
            noise.append(size * sqrt(12) * (rng.random() - 0.5))
        else:
            noise.append(size / sqrt(2) * rng.expovariate(1.0) * rng.choice([-1, 1]))
    return [value] * len(ts), noise, {"white": size}


def drift_about(bench: Bench, ts: Course, value: float) -> tuple[Course, Course, dict[str, float]]:
    """A film whose resistance wanders, with a hiss on top; a spring pulls it back."""
    rng, size = bench.rng, _noise_of(bench, value)
    memory = rng.triangular(0.08, 1.2, 0.3)
    share = rng.uniform(0.7, 1.0)
    x, noise, before = rng.gauss(0, 1), [], ts[0]
    for t in ts:
        for _ in range(4):
            h = (t - before) / 4
            x += -x * (1 - exp(-h / memory)) + sqrt(1 - exp(-2 * h / memory)) * rng.gauss(0, 1)
        before = t
        noise.append(size * (share * x + sqrt(1 - share**2) * rng.gauss(0, 1)))
    return (
        [value] * len(ts),
        noise,
        {"white": size * sqrt(1 - share**2), "wander": size * share, "memory": memory},
    )


def spots(bench: Bench, ts: Course, value: float) -> tuple[Course, Course, dict[str, float]]:
    """A contact spot that is lost and found: two resistances."""
    rng = bench.rng
    jump = value * rng.uniform(0.004, 0.12)
    up, left, on = rng.random() < 0.5, rng.weibullvariate(0.9, 0.8) + 0.15, []
    before = ts[0]
    for t in ts:
        left -= t - before
        before = t
        if left < 0:
            up, left = not up, rng.weibullvariate(0.9, 0.8) + 0.15
        on.append(up)
    truth = [value + jump * u for u in on]
    both = any(on) and not all(on)
    levels = {"low": value, "high": value + jump} if both else {}
    return truth, [0.0] * len(ts), levels


def creeping_move(
    bench: Bench, ts: Course, value: float
) -> tuple[Course, Course, dict[str, float]]:
    """A film that breaks down, or a tip that loosens: two time constants, or a logarithm."""
    rng = bench.rng
    size, tau = rng.uniform(0.02, 0.2), rng.uniform(5.0, 60.0)
    sign = rng.choice([1, 1, -1])
    part = rng.uniform(0.5, 1.0)
    slow = tau * rng.uniform(1.5, 4.0)
    truth = [value + sign * size * (part * exp(-t / tau) + (1 - part) * exp(-t / slow)) for t in ts]
    return truth, [0.0] * len(ts), {}


def cooling_move(bench: Bench, ts: Course, value: float) -> tuple[Course, Course, dict[str, float]]:
    """Heat from the winding into its core, from the core into the room."""
    rng = bench.rng
    winding, core = rng.uniform(20.0, 60.0), 0.0
    core = winding * rng.uniform(0.5, 1.0)
    inner, outer = rng.uniform(40.0, 150.0), rng.uniform(150.0, 600.0)
    truth, before = [], ts[0]
    for t in ts:
        h = t - before
        before = t
        winding += h * (core - winding) / inner - h * winding / outer
        core -= h * core / outer
        truth.append(value * (234.5 + 20.0 + winding) / (234.5 + 20.0))
    return truth, [0.0] * len(ts), {}


Unseen = Callable[[Bench, Course, float], tuple[Course, Course, dict[str, float]]]
RESTLESS: dict[str, Unseen] = {
    f.__name__: f for f in (hiss, drift_about, spots, creeping_move, cooling_move)
}


def touch(seed: int, family: str) -> Touch:
    """Draw a touch. The same arguments give the same touch."""
    rng = random.Random(f"{family} {seed}")
    bench = Bench(rng)
    moving = family.endswith("move")
    value = 10 ** rng.uniform(-0.4, 1.6 if family == "creeping_move" else 4.0)
    step = bench.step(value)
    own = step * rng.choice([0.05, 0.3, 0.8]) + value * 10 ** rng.uniform(-5, -3.6)
    n = int(_seconds(bench, moving) * bench.rate) + 1
    apart = max(5, int(0.9 * bench.rate))
    ts = [i / bench.rate for i in range(n)]
    truth, noise, said = RESTLESS[family](bench, ts, value)
    values = [inf] * apart
    values += [
        bench.shows(x + e + own * rng.gauss(0, 1), step) for x, e in zip(truth, noise, strict=True)
    ]
    values += [inf] * apart
    readings = []
    for i, v in enumerate(values):
        late = 1 - i % 2 if bench.pairs else 0
        t = (i + late) / bench.rate + (1e-3 if bench.pairs and not late else 0.0)
        readings.append(Reading(t, v, resolution=step if bench.tells else None, overload=v == inf))
    white = hypot(said.get("white", 0.0), own)
    if bench.cuts:
        # Rounding towards zero is an offset of half a step, which the meter's accuracy holds.
        truth = [x - 0.48 * step for x in truth]
    return Touch(
        family,
        readings,
        apart,
        apart + n,
        np.array(truth),
        hypot(white, said.get("wander", 0.0)),
        step,
        white,
        said.get("wander", 0.0),
        said.get("memory", 0.0),
        said.get("low", nan),
        said.get("high", nan),
    )
