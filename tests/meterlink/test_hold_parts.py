"""The parts of the hold: blocks blind to mains, the last digit, the cadence, when enough is."""

import random
from collections.abc import Iterable
from math import pi, sin, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.events import Limit
from meterlink.hold.detector import HoldDetector
from meterlink.hold.policy import POLICY
from meterlink.hold.resolution import StepSeen, step_between, step_of_digits
from meterlink.hold.sampling import Blocks, Cadence, blind_weights, clipped
from meterlink.hold.steadiness import newest_level, rough_noise
from meterlink.hold.stopping import DecisionEdges, limit_of, should_stop
from tests.traces.streams import holds, noisy, readings

# --- mains ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [75.0, 100.0, 120.0, 250.0, 500.0, 1000.0])
def test_a_block_keeps_the_mean_and_does_not_see_the_mains(rate: float) -> None:
    w = np.array(blind_weights(rate, (50.0, 60.0), 0.03))
    t = np.arange(w.size) / rate
    assert w.sum() == pytest.approx(1.0, abs=2e-3)
    for hertz in (50.0, 60.0):
        if abs(hertz / rate - round(hertz / rate)) < 0.02:
            continue
        for phase in (0.0, 1.0, 2.0):
            assert abs(w @ np.sin(2 * pi * hertz * t + phase)) < 3e-3
    assert w.size * (w @ w) < 1.6
    assert w.size / rate < 0.08


def test_a_plain_mean_over_whole_periods_is_the_special_case() -> None:
    assert blind_weights(1000.0, (50.0,), 0.02) == pytest.approx([1 / 20] * 20)


def test_the_noise_within_a_block_is_that_of_a_reading_and_not_the_ripple() -> None:
    blocks = Blocks((50.0, 60.0), 70.0, 0.03)
    blocks.tune(1000.0)
    rng = np.random.default_rng(8)
    seen = []
    for i in range(3000):
        if (
            blocks.feed(float(80 + 5 * sin(2 * pi * 50 * i / 1000) + rng.normal(0, 0.1)))
            is not None
        ):
            assert blocks.variance is not None
            seen.append(blocks.variance)
    assert sqrt(float(np.mean(seen))) == pytest.approx(0.1, rel=0.05)


def test_a_lone_outlier_in_a_block_is_clipped_and_a_sine_is_not() -> None:
    sine = [sin(i / 3) for i in range(30)]
    assert clipped(sine) == sine
    struck = [*sine[:7], 90.0, *sine[8:]]
    assert max(clipped(struck)) <= 1.0


@pytest.mark.parametrize("n", [8, 30])
def test_a_lone_outlier_among_values_that_are_rounded_alike_is_clipped(n: int) -> None:
    level = [82.0, 82.0, 82.0, 82.1, 82.0] * n
    assert clipped([*level[: n - 1], 61.5]) == [*level[: n - 1], 82.0]


def test_one_phase_of_the_mains_is_no_outlier() -> None:
    phases = [0.5, 0.5001, -1.0] * 10
    assert clipped(phases) == phases


# --- the last digit -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "step"),
    [(82.3, 0.1), (0.8123, 1e-4), (4700.0, 100.0), (-0.05, 0.01), (1e-6, 1e-6), (0.0, 0.0)],
)
def test_the_step_of_the_digits_that_show(value: float, step: float) -> None:
    assert step_of_digits(value) == pytest.approx(step)


def test_a_trailing_zero_that_a_float_lost_is_found_by_its_neighbours() -> None:
    seen = StepSeen()
    for value in (82.0, 82.0, 82.3, 82.0):
        seen.add(value)
    assert seen.step == pytest.approx(0.1)


def test_nine_printed_digits_are_not_nine_resolved_ones() -> None:
    lsb = 0.00739085133
    seen = StepSeen()
    for count in (11000, 11001, 11000, 11002, 11001, 11000):
        seen.add(count * lsb)
    assert seen.step == pytest.approx(lsb, rel=1e-6)


def test_nine_digits_that_repeat_tell_that_there_is_a_step_and_how_coarse_it_can_be() -> None:
    lsb = 0.00739085133
    seen = StepSeen()
    for _ in range(3):
        seen.add(11000 * lsb)
    assert seen.step == 0.0
    assert seen.at_most == pytest.approx(0.006 * 11000 * lsb)
    seen.add(11002 * lsb)
    assert seen.step == 0.0
    assert seen.at_most == pytest.approx(2 * lsb)


def test_a_zero_in_between_hides_no_step() -> None:
    seen = StepSeen()
    for value in (1000.0, 1100.0, 0.0, 1000.0, 1000.0):
        seen.add(value)
    assert seen.step == pytest.approx(100.0)


def test_a_round_value_beside_its_neighbour_is_no_coarse_step() -> None:
    seen = StepSeen()
    for value in (1000.0, 999.9995, 1000.0, 999.9995):
        seen.add(value)
        assert seen.step < 1.0


def test_a_step_that_showed_once_is_remembered_while_the_value_stands_still() -> None:
    lsb = 0.00739085133
    seen = StepSeen()
    for count in (11000, 11001, 11000, 11002, *[11001] * 40):
        seen.add(count * lsb)
        assert seen.step in (0.0, pytest.approx(lsb, rel=1e-6))
    assert seen.step == pytest.approx(lsb, rel=1e-6)


def test_digits_that_do_not_repeat_leave_no_room_for_a_coarse_step() -> None:
    rng = np.random.default_rng(13)
    seen = StepSeen()
    for value in rng.normal(82, 0.1, 12):
        seen.add(float(value))
    assert seen.at_most == 0.0


def test_a_slide_to_another_point_holds_on_its_first_three_readings() -> None:
    values = [82.0] * 6 + [5200.0] * 3
    held = holds(readings(values, rate=2.0))
    assert [h.value for h in held] == [82.0, 5200.0]
    assert held[1].contact_t == pytest.approx(6 / 2)
    assert held[1].t == pytest.approx(8 / 2)


def test_noise_that_is_not_rounded_shows_no_step() -> None:
    rng = np.random.default_rng(9)
    assert step_between(rng.normal(82, 0.1, 16).tolist()) == 0.0


@given(st.integers(170, 200_000), st.integers(-6, 3), st.lists(st.integers(0, 9), min_size=6))
def test_a_fixed_digit_meter_shows_its_step(count: int, power: int, added: list[int]) -> None:
    seen = StepSeen()
    for more in [*added, 1, 2, 3]:
        seen.add(float(f"{(count + more)}e{power}"))
    if len(str(count)) == len(str(count + 9)):
        assert seen.step == pytest.approx(10.0**power)


# --- the cadence ----------------------------------------------------------------------------------


@pytest.mark.parametrize("interval", [0.5, 0.1, 0.001])
def test_the_interval_is_learnt(interval: float) -> None:
    cadence = Cadence()
    for i in range(100):
        cadence.tick(i * interval)
    assert cadence.interval == pytest.approx(interval, rel=0.02)


def places(times: Iterable[float]) -> list[int]:
    cadence, found = Cadence(), []
    for t in times:
        cadence.tick(t)
        found.append(cadence.place)
    return found


def test_a_burst_is_spread_out_evenly() -> None:
    found = places((i // 5) * 0.5 + (i % 5) * 0.001 for i in range(200))
    assert set(np.diff(found[100:])) == {1}


def test_time_stamps_that_are_late_move_no_reading() -> None:
    rng = random.Random(4)
    found = places(i * 0.2 + min(abs(rng.gauss(0, 0.25)), 0.7) * 0.2 for i in range(400))
    assert np.mean(np.diff(found[100:]) == 1) > 0.99


@pytest.mark.parametrize("missing", [1, 2, 7])
def test_readings_that_are_missing_leave_their_places_free(missing: int) -> None:
    found = places([i * 0.1 for i in range(100)] + [(100 + missing + i) * 0.1 for i in range(20)])
    assert np.diff(found[90:]).tolist() == [1] * 9 + [missing + 1] + [1] * 19


@pytest.mark.parametrize("delays", [[0.085], [0.35, 0.25, 0.15, 0.05]])
def test_after_readings_that_were_held_up_missing_ones_are_seen_again(delays: list[float]) -> None:
    times = [i * 0.1 for i in range(100)]
    for i, delay in enumerate(delays):
        times[50 + i] += delay
    found = places(times + [(101 + i) * 0.1 for i in range(20)])
    assert np.diff(found[90:]).tolist() == [1] * 9 + [2] + [1] * 19


@pytest.mark.parametrize("times", [0.02, 0.15, 2.0, 5.0, 50.0])
def test_another_rate_is_learnt_within_a_second(times: float) -> None:
    cadence, before, after = Cadence(), 0.004, 0.004 / times
    for i in range(700):
        cadence.tick(i * before)
    for i in range(max(4, round(1.0 / after))):
        cadence.tick(700 * before + i * after)
    assert cadence.interval == pytest.approx(after, rel=0.1)


def test_times_that_lie_beyond_all_measure_are_got_over() -> None:
    cadence = Cadence()
    for t in [-1.7e308, 1.7e308, *[1.7e308] * 80]:
        cadence.tick(t)
    for i in range(200):
        cadence.tick(i * 0.1)
    assert cadence.interval == pytest.approx(0.1, rel=0.1)


def test_a_pause_is_no_interval() -> None:
    cadence = Cadence()
    times = [i * 0.1 for i in range(40)] + [60 + i * 0.1 for i in range(120)]
    for t in times:
        cadence.tick(t)
    assert cadence.interval == pytest.approx(0.1, rel=0.1)


# --- which readings belong together ---------------------------------------------------------------


def test_a_step_begins_a_new_level_and_a_course_does_not() -> None:
    assert newest_level([81.0, 81.0, 81.68, 81.68, 81.69, 81.68], 0.05, 3.0) == 2
    assert newest_level([90.0, 86.0, 84.0, 83.0, 82.5, 82.25], 0.05, 3.0) == 0
    assert newest_level([82.0, 82.1, 81.9, 82.0], 0.05, 3.0) == 0


def test_second_differences_see_noise_and_not_a_course() -> None:
    rng = np.random.default_rng(10)
    noise = rng.normal(0, 0.1, 4000)
    course = 50 * np.exp(-np.arange(4000) / 900)
    assert rough_noise((noise + course).tolist(), 0.0) == pytest.approx(0.1, rel=0.05)


# --- enough ---------------------------------------------------------------------------------------


def enough(aim: DecisionEdges | None, value: float = 82.0, u: float = 0.05, n: int = 4) -> bool:
    return should_stop(POLICY, aim, value, u, u * sqrt(n), n, 0.01)


def test_without_an_edge_steady_is_enough() -> None:
    assert enough(None)
    assert enough(DecisionEdges())


def test_far_from_an_edge_it_is_decided_and_near_it_is_not() -> None:
    assert enough(DecisionEdges(edges=(75.0, 90.0)))
    assert not enough(DecisionEdges(edges=(75.0, 82.1)))


def test_what_averaging_cannot_mend_counts_as_well_as_the_noise() -> None:
    at = DecisionEdges(edges=(82.4,))
    vague = DecisionEdges(edges=(82.4,), u_fixed=lambda _: 0.3)
    assert enough(at, u=0.1, n=40)
    assert not enough(vague, u=0.1, n=40)


@pytest.mark.parametrize(("edge", "decided"), [(82.34, False), (82.36, True)])
def test_half_a_step_of_the_last_digit_is_what_averaging_cannot_mend(edge, decided) -> None:
    """A step of 0.3 is a standard uncertainty of 0.3 over the root of twelve (GUM F.2.2.1)."""
    aim = DecisionEdges(edges=(edge,))
    assert should_stop(POLICY, aim, 82.0, 0.1, 0.1 * sqrt(40), 40, 0.3) is decided


def test_where_the_meter_limits_more_readings_cannot_help() -> None:
    assert enough(DecisionEdges(edges=(82.1,), u_fixed=lambda _: 0.5))


def test_near_an_edge_it_takes_longer_but_never_beyond_what_is_due() -> None:
    values = noisy(82.0, 40, 0.1, seed=11)
    far = holds(readings(values), HoldDetector(aim=DecisionEdges(edges=(60.0,))))
    near = holds(readings(values), HoldDetector(aim=DecisionEdges(edges=(82.05,))))
    assert len(far) == len(near) == 1
    assert far[0].t < near[0].t <= 6 / 5 + 0.2
    assert near[0].readings > far[0].readings


def test_the_aim_may_change_between_readings() -> None:
    detector = HoldDetector(aim=DecisionEdges(edges=(82.05,)))
    stream = readings(noisy(82.0, 40, 0.1, seed=11))
    found = [e for r in stream[:4] for e in detector.feed(r)]
    detector.aim_at(None)
    found += [e for r in stream[4:6] for e in detector.feed(r)]
    assert [type(e).__name__ for e in found] == ["Contact", "Held"]


def test_what_limits_is_named() -> None:
    assert limit_of(0.01, 0.0, 0.1) is Limit.RESOLUTION
    assert limit_of(0.01, 0.5, 0.1) is Limit.METER
    assert limit_of(0.2, 0.1, 0.1) is Limit.NOISE
