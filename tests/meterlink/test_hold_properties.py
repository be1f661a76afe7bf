"""What must not change a hold, and how it follows what does."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.events import Held
from meterlink.hold.detector import HoldDetector
from meterlink.hold.policy import POLICY
from meterlink.hold.stopping import DecisionEdges
from meterlink.reading import Reading
from tests.traces.generator import trace
from tests.traces.streams import air, events, holds, noisy, readings

SEEDS = st.integers(0, 5000)


def stream(seed: int) -> list[Reading]:
    """A touch or two with a little of everything, at up to 50 readings a second."""
    rng = random.Random(seed)
    return trace(seed, touches=rng.choice([1, 2]), rate=rng.choice([2.0, 5.0, 10.0, 50.0])).readings


def scaled(source: list[Reading], factor: float) -> list[Reading]:
    return [
        Reading(
            t=r.t,
            value=r.value * factor,
            resolution=None if r.resolution is None else r.resolution * factor,
            overload=r.overload,
        )
        for r in source
    ]


ABSOLUTE = ("tol_least", "step_most", "air_least", "contact_most")
"""Numbers of the policy in SI units: a milliohm is a milliohm."""


def absolute(factor: float) -> dict[str, float]:
    return {name: getattr(POLICY, name) * factor for name in ABSOLUTE}


@settings(deadline=None, max_examples=60)
@given(SEEDS, st.sampled_from([0.25, 8.0, 1024.0]))
def test_scaling_everything_scales_the_answer(seed: int, factor: float) -> None:
    # Powers of two, as these scale a float exactly; the absolute numbers of the policy with them.
    source = [r for r in stream(seed) if r.resolution is not None]
    plain = holds(source, HoldDetector())
    policy = POLICY.__class__(**absolute(factor))
    other = holds(scaled(source, factor), HoldDetector(policy))
    assert [h.t for h in plain] == [h.t for h in other]
    assert [h.value * factor for h in plain] == pytest.approx([h.value for h in other], rel=1e-9)
    assert [h.u * factor for h in plain] == pytest.approx([h.u for h in other], rel=1e-6)
    assert [h.resolution * factor for h in plain] == [h.resolution for h in other]


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 500), st.floats(0.97, 1.03), st.sampled_from([0.0, 0.02, 0.2]))
def test_scaling_values_edges_and_policy_by_ten_scales_the_answer(
    seed: int, edge: float, sd: float
) -> None:
    values = noisy(82.0, 20, sd, seed)
    answers = []
    for factor in (1.0, 10.0):
        aim = DecisionEdges(edges=(82.0 * edge * factor,), u_fixed=lambda v: 0.001 * v)
        policy = POLICY.__class__(**absolute(factor))
        source = scaled(readings(values), factor)
        answers.append(holds(source, HoldDetector(policy, aim)))
    one, ten = answers
    assert [h.t for h in one] == [h.t for h in ten]
    assert [10 * h.value for h in one] == pytest.approx([h.value for h in ten], rel=1e-9)
    assert [h.limit for h in one] == [h.limit for h in ten]


@settings(deadline=None, max_examples=60)
@given(SEEDS, st.sampled_from([1.0, 256.0, 65536.0]))
def test_a_shift_in_time_changes_nothing_else(seed: int, shift: float) -> None:
    source = [
        Reading(round(r.t * 1024) / 1024, r.value, r.quantity, r.resolution, r.overload)
        for r in stream(seed)
    ]
    moved = [Reading(r.t + shift, r.value, r.quantity, r.resolution, r.overload) for r in source]
    plain, other = events(source), events(moved)
    assert [type(e) for e in plain] == [type(e) for e in other]
    assert [e.t + shift for e in plain] == pytest.approx([e.t for e in other])
    values = [[e.value for e in said if isinstance(e, Held)] for said in (plain, other)]
    assert values[0] == pytest.approx(values[1], rel=1e-6)


@settings(deadline=None, max_examples=40)
@given(SEEDS, st.lists(st.integers(1, 50), min_size=1, max_size=8))
def test_looking_on_between_readings_changes_nothing(seed: int, chunks: list[int]) -> None:
    source = stream(seed)
    looked_at, found, at = HoldDetector(), [], 0
    while at < len(source):
        size = chunks[at % len(chunks)]
        for r in source[at : at + size]:
            found += looked_at.feed(r)
        assert looked_at.live is None or looked_at.live.u >= 0
        assert looked_at.stage is looked_at.stage
        at += size
    assert found + list(looked_at.close()) == events(source)


@settings(deadline=None, max_examples=40)
@given(st.permutations([820.0, 8.2, 97.0, 61.5]), st.integers(0, 50))
def test_which_lone_outlier_comes_where_changes_neither_hold_nor_value(
    order: list[float], seed: int
) -> None:
    clean = noisy(82.0, 40, 0.02, seed)
    places = (2, 9, 17, 29)

    def struck(outliers: list[float]) -> list[Held]:
        values = list(clean)
        for at, outlier in zip(places, outliers, strict=True):
            values[at] = outlier
        return [h for h in holds(readings(air(3) + values)) if not h.revises]

    one, other = struck([820.0, 8.2, 97.0, 61.5]), struck(order)
    assert len(one) == len(other) == 1
    assert one[0].t == other[0].t
    assert one[0].value == other[0].value
