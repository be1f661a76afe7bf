"""Search for the numbers of the hold's policy over seeded traces.

A random walk that keeps what is better: one to three numbers are changed at a time, all traces
are gone through again, and the cost weighs false holds, missed ones and delays against what is
aimed at. The seeds are others than those that ``hold_detectors.py`` measures on.

Run: python tests/benchmarks/hold_tuning.py [seconds, 600] [traces, 2000] [start.json]
Each improvement is printed, the last of them as JSON that may be started from again.
"""

import json
import math
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import msgspec
import numpy as np

from meterlink.hold import POLICY, HoldDetector, HoldPolicy
from tests.traces.families import BEYOND
from tests.traces.generator import Trace, trace
from tests.traces.score import Score, holds_of

LOG, EVEN = "log", "even"
SPACE: dict[str, tuple[float, float, str]] = {
    "risk": (0.001, 0.03, LOG),
    "late_risk": (0.003, 0.06, LOG),
    "late_time": (0.6, 1.0, EVEN),
    "tol_margin": (0.6, 1.0, EVEN),
    "settling_share": (0.01, 0.2, LOG),
    "course_share": (0.2, 0.9, EVEN),
    "second_risk": (0.001, 0.02, LOG),
    "second_late_risk": (0.01, 0.5, LOG),
    "bounce_share": (0.03, 0.3, LOG),
    "noise_weight": (0.5, 2.0, LOG),
    "noise_guess": (0.01, 0.08, LOG),
    "noise_share": (0.004, 0.01, LOG),
    "noise_resolutions": (1.5, 4.0, LOG),
    "reach": (7.0, 15.0, EVEN),
    "jump_gain": (2.5, 6.0, EVEN),
    "cut_gain": (1.3, 3.0, EVEN),
}
Seeded = list[tuple[int, Trace]]


def worst(score: Score) -> float:
    """False holds in a thousand in the worst family."""
    often = [f for f in score.touches if score.touches[f] > 50]
    return max((1000 * score.false[f] / score.touches[f] for f in often), default=0.0)


def figures(policy: HoldPolicy, traces: Seeded) -> dict[str, float]:
    """What a policy comes to: per thousand, then delays."""
    score = Score()
    for seed, t in traces:
        score.add(seed, t, holds_of(HoldDetector(policy).feed, t.readings))
    n, due = sum(score.touches.values()), sum(score.due.values())
    units, seconds = np.quantile(score.units, [0.5, 0.9]), np.quantile(score.seconds, [0.9, 0.99])
    return {
        "false": 1000 * sum(score.false.values()) / n,
        "far": 1000 * sum(score.false_far.values()) / n,
        "missed": 1000 * sum(score.missed.values()) / due,
        "worst": worst(score),
        "p50": float(units[0]),
        "p90": float(units[1]),
        "s99": float(seconds[1]),
    }


def cost(expected: dict[str, float], beyond: dict[str, float]) -> float:
    """One number to make small: a false hold costs more than a wait."""
    return (
        1.3 * expected["false"]
        + 1.5 * expected["far"]
        + 0.12 * max(0.0, expected["worst"] - 4)
        + 0.5 * expected["missed"]
        + 6 * max(0.0, expected["p50"] - 1.36)
        + 4 * max(0.0, expected["p90"] - 2.45)
        + 6 * max(0.0, expected["s99"] - 1.55)
        + beyond["false"] / 20
        + beyond["missed"] / 50
        + max(0.0, beyond["p90"] - 3.0)
    )


def changed(best: dict[str, float], rng: random.Random) -> dict[str, float]:
    """A neighbour of ``best``."""
    out = dict(best)
    for name in rng.sample(list(SPACE), rng.choice([1, 2, 3])):
        low, high, how = SPACE[name]
        moved = out[name] * math.exp(rng.gauss(0, 0.3))
        if how == EVEN:
            moved = out[name] + rng.gauss(0, 0.15) * (high - low)
        out[name] = min(max(moved, low), high)
    out["course_share"] = max(out["course_share"], 1.5 * out["settling_share"])
    return out


def main() -> None:
    """Search for as long as asked."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 600.0
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 2000
    start = json.loads(Path(sys.argv[3]).read_text("utf-8")) if len(sys.argv) > 3 else {}
    expected = [(s, trace(s, hard=False)) for s in range(100_000, 100_000 + count)]
    strange = [
        (s, trace(s, tuple(BEYOND), hard=s % 2 == 0)) for s in range(300_000, 300_000 + count // 5)
    ]
    # A thousand readings a second take long and teach little that a hundred do not.
    expected = [(s, t) for s, t in expected if len(t.readings) < 6000]
    strange = [(s, t) for s, t in strange if len(t.readings) < 6000]
    rng = random.Random(count + int(seconds))
    best = {name: float(start.get(name, getattr(POLICY, name))) for name in SPACE}
    least, tried, until = math.inf, 0, time.monotonic() + seconds
    candidate = best
    while time.monotonic() < until:
        policy = msgspec.structs.replace(POLICY, **candidate)
        a, b = figures(policy, expected), figures(policy, strange)
        tried += 1
        if cost(a, b) < least:
            best, least = candidate, cost(a, b)
            shown = " ".join(f"{k} {v:.2f}" for k, v in a.items())
            print(f"{tried:4d} cost {least:.3f} | {shown} | beyond {b['false']:.1f}")
            print(json.dumps({k: float(f"{v:.3g}") for k, v in best.items()}), flush=True)
        candidate = changed(best, rng)


if __name__ == "__main__":
    main()
