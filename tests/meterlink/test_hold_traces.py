"""The hold over some hundred seeded traces, with their truth.

The figures proper, over some 40,000 touches, come from ``tests/benchmarks/hold_detectors.py``;
here it is seen that nothing has gone far from them, and that the score can tell.
"""

import numpy as np
import pytest

from meterlink.hold import HoldDetector
from tests.traces.families import EXPECTED
from tests.traces.generator import Trace, trace
from tests.traces.rivals import equal_readings, oracle, run
from tests.traces.score import Score, holds_of

SEEDS = range(700_000, 700_160)


@pytest.fixture(scope="module")
def traces() -> list[tuple[int, Trace]]:
    made = [(seed, trace(seed, hard=False)) for seed in SEEDS]
    return [(seed, t) for seed, t in made if len(t.readings) < 4000]


@pytest.fixture(scope="module")
def score(traces: list[tuple[int, Trace]]) -> Score:
    out = Score()
    for seed, t in traces:
        out.add(seed, t, holds_of(HoldDetector().feed, t.readings))
    return out


def test_every_family_is_there_and_most_touches_are_due(score: Score) -> None:
    assert set(EXPECTED) <= set(score.touches)
    assert sum(score.touches.values()) > 400
    assert sum(score.due.values()) > 0.7 * sum(score.touches.values())


def test_hardly_a_hold_is_false_and_none_doubled_or_off(score: Score) -> None:
    # Of a contact that wanders it is said that it is poor; how wrong that may be stands by itself.
    poor = score.false["poor_contact"]
    assert poor <= 0.1 * score.touches["poor_contact"], score.cases
    assert sum(score.false.values()) - poor <= 2, score.cases
    assert sum(score.false_far.values()) - score.false_far["poor_contact"] == 0, score.cases
    assert sum(score.doubled.values()) == 0, score.cases
    assert sum(score.off.values()) == 0, score.cases


def test_hardly_a_touch_that_is_due_is_missed(score: Score) -> None:
    assert sum(score.missed.values()) <= 0.01 * sum(score.due.values()), score.cases


def test_holds_are_early(score: Score) -> None:
    units = np.quantile(score.units, [0.5, 0.9])
    assert units[0] <= 1.4
    assert units[1] <= 2.6
    assert np.quantile(score.seconds, 0.5) <= 0.55


def test_the_score_finds_nothing_wrong_with_who_knows_the_truth(
    traces: list[tuple[int, Trace]],
) -> None:
    known = Score()
    for seed, t in traces:
        known.add(seed, t, oracle(t, policy_only=True))
    assert known.cases == []


def test_the_score_finds_fault_with_three_equal_readings(
    traces: list[tuple[int, Trace]], score: Score
) -> None:
    naive = Score()
    for seed, t in traces:
        naive.add(seed, t, run(equal_readings(3, 1.0), t.readings))
    assert sum(naive.false.values()) > 10 * (1 + sum(score.false.values()))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_trace_is_the_same_every_time(seed: int) -> None:
    assert trace(seed).readings == trace(seed).readings
