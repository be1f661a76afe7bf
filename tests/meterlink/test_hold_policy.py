"""What a hold does, clause by clause of its policy, on streams made by hand."""

from itertools import pairwise
from math import exp, pi, sin
from statistics import median

import pytest

from meterlink.events import Contact, Held, Lift
from meterlink.hold.contact import Stage
from meterlink.hold.detector import HoldDetector
from meterlink.hold.policy import POLICY
from meterlink.reading import Quantity
from tests.traces.streams import air, events, holds, kinds, noisy, readings

RATES = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 1000.0, 3000.0)


def whole(rate: float, seconds: float) -> int:
    return round(rate * seconds)


def firsts(held: list[Held]) -> list[Held]:
    """Without those that take the place of another in the same touch."""
    return [h for h in held if not h.revises]


@pytest.mark.parametrize("rate", RATES)
def test_a_touch_of_two_readings_or_of_a_fifth_of_a_second_does_not_hold(rate: float) -> None:
    apart = air(max(4, whole(rate, 0.8)))
    n = max(2, whole(rate, 0.2))
    stream = readings(apart + noisy(82.0, n, 0.0) + apart, rate)
    assert kinds(stream) == ["Contact", "Lift"]


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("sd", [0.0, 0.02])
def test_six_readings_over_a_second_hold_once_and_right(rate: float, sd: float) -> None:
    apart = air(max(4, whole(rate, 0.8)))
    n = max(6, whole(rate, 1.0) + 1)
    held = holds(readings(apart + noisy(82.0, n, sd) + apart, rate))
    assert len(held) == 1
    assert abs(held[0].value - 82.0) <= 0.002 * 82.0


@pytest.mark.parametrize("tau", [0.03, 0.1, 0.3, 0.7, 1.4])
@pytest.mark.parametrize("rate", [2.0, 5.0, 10.0, 30.0])
def test_nothing_is_held_while_it_still_settles(tau: float, rate: float) -> None:
    size = 0.3
    course = [50.0 * (1 + size * exp(-i / rate / tau)) for i in range(whole(rate, 14.0))]
    stream = readings(air(6) + [round(v, 3) for v in course], rate, resolution=0.001)
    held = holds(stream)
    assert len(held) == 1
    left = 50.0 * size * exp(-(held[0].t - 6 / rate) / tau)
    assert left <= 0.002 * 50.0
    assert abs(held[0].value - 50.0) <= 0.002 * 50.0


@pytest.mark.parametrize("per_second", [0.03, 0.06, 0.3, -0.03, -0.2])
def test_a_ramp_is_never_held(per_second: float) -> None:
    course = [round(100.0 * (1 + per_second * i / 10), 2) for i in range(40)]
    assert holds(readings(course, rate=10.0)) == []


def test_a_range_step_before_the_value_is_not_held() -> None:
    stream = readings([*air(5), 300.0, 300.0, *noisy(307.1, 12, 0.05, step=0.1)], resolution=None)
    held = holds(stream)
    assert [h.value for h in held] == [pytest.approx(307.1, abs=0.15)]


def test_a_cooling_winding_is_held_once() -> None:
    course = [round(7.5 * (1 - 0.0007 * i / 5), 4) for i in range(150)]
    held = holds(readings(course, resolution=0.0001))
    assert len(firsts(held)) == 1
    assert held[-1].slope == pytest.approx(7.5 * -0.0007, rel=0.2)


@pytest.mark.parametrize("at", range(1, 19))
def test_a_dropout_is_no_lift(at: int) -> None:
    values = noisy(82.0, 20, 0.01)
    values[at : at + 2] = air(2)
    assert kinds(readings(values, rate=14.0)) == ["Contact", "Held"]


def test_after_a_lift_the_detector_is_armed_again() -> None:
    touch = noisy(82.0, 8, 0.01)
    stream = readings([*touch, *air(4), *touch, *air(4)])
    assert kinds(stream) == ["Contact", "Held", "Lift"] * 2
    for contact, lift in pairwise(e for e in events(stream) if not isinstance(e, Held)):
        if isinstance(contact, Contact) and isinstance(lift, Lift):
            assert lift.contact_t == contact.t
            assert lift.held
            assert lift.t == pytest.approx(contact.t + 8 / 5)


def test_air_that_floats_is_never_held_and_ends_a_touch() -> None:
    floating = [2.1e7, 9.3e6, 3.3e7, 1.2e7, 2.7e7, 1.6e7, 8.8e6]
    touch = noisy(82.0, 8, 0.01)
    held = holds(readings([*floating, *touch, *floating, *touch, *floating]))
    assert [round(h.value, 1) for h in held] == [82.0, 82.0]


def test_a_slide_to_another_point_is_a_second_hold_that_began_with_the_slide() -> None:
    stream = readings([*noisy(82.0, 10, 0.01), *noisy(41.0, 10, 0.01, seed=2), *air(4)])
    said = [e for e in events(stream) if isinstance(e, Contact | Held | Lift)]
    first, second, lift = said[1:]
    assert isinstance(first, Held)
    assert isinstance(second, Held)
    assert isinstance(lift, Lift)
    assert first.contact_t == 0.0
    assert second.contact_t == pytest.approx(10 / 5)
    assert lift.contact_t == second.contact_t
    assert [round(h.value) for h in (first, second)] == [82, 41]


def test_a_touch_that_strays_and_comes_back_is_not_held_again() -> None:
    away = [85.0, 91.0, 88.0, 97.0, 86.0]
    touch = noisy(82.0, 10, 0.01)
    assert len(holds(readings([*touch, *away, *touch]))) == 1


@pytest.mark.parametrize("outlier", [820.0, 8.2, 95.0, float("inf")])
def test_lone_outliers_neither_shift_the_value_nor_delay_much(outlier: float) -> None:
    clean = noisy(82.0, 20, 0.01)
    plain = holds(readings(clean))[0]
    for at in range(1, 8):
        struck = [*clean[:at], outlier, *clean[at + 1 :]]
        held = holds(readings(struck))
        assert len(held) == 1
        assert abs(held[0].value - 82.0) < 0.02
        assert held[0].t <= plain.t + 3 / 5


@pytest.mark.parametrize("hertz", [50.0, 60.0])
@pytest.mark.parametrize("rate", [100.0, 250.0, 1000.0])
def test_mains_ripple_is_averaged_over_whole_periods(hertz: float, rate: float) -> None:
    values = [
        82.0 + 1.0 * sin(2 * pi * hertz * i / rate) + n - 82.0
        for i, n in enumerate(noisy(82.0, whole(rate, 1.2), 0.02))
    ]
    held = holds(readings(air(whole(rate, 0.8)) + values, rate))
    assert len(held) == 1
    assert abs(held[0].value - 82.0) < 0.03


@pytest.mark.parametrize(("rate", "hertz"), [(75.0, 50.0), (90.0, 60.0), (150.0, 50.0)])
@pytest.mark.parametrize("phase", [0.5, 2.6, 4.7])
def test_mains_ripple_that_falls_on_three_phases_is_averaged_too(
    rate: float, hertz: float, phase: float
) -> None:
    noise = noisy(82.0, whole(rate, 1.2), 0.02)
    ripple = [sin(2 * pi * hertz * i / rate + phase) for i in range(len(noise))]
    values = [n + r for n, r in zip(noise, ripple, strict=True)]
    (held,) = holds(readings(air(whole(rate, 0.8)) + values, rate))
    assert abs(held.value - 82.0) < 0.05


@pytest.mark.parametrize("times", [6, 20, 50])
def test_a_meter_that_turns_slow_is_followed_within_a_touch(times: int) -> None:
    fast, slow = 250.0, 250.0 / times
    first = readings([*air(250), *noisy(82.0, 400, 0.01), *air(250)], fast)
    touch = [*noisy(41.0, max(12, whole(slow, 1.5)), 0.01), *air(max(4, whole(slow, 0.8)))]
    second = readings([*touch, *touch], slow, start=first[-1].t + 1 / slow)
    assert kinds(first + second) == ["Contact", "Held", "Lift"] * 3


def test_an_overload_is_never_held() -> None:
    assert events(readings(air(1000))) == []


def test_a_quantity_other_than_resistance_is_held_by_the_same_rules() -> None:
    stream = readings(noisy(12.6, 8, 0.005), quantity=Quantity.VOLTAGE)
    assert [(h.unit, round(h.value, 1)) for h in holds(stream)] == [("volt", 12.6)]


@pytest.mark.parametrize(
    ("quantity", "size"), [(Quantity.CAPACITANCE, 2.2e-7), (Quantity.CURRENT, 3e-5)]
)
def test_small_units_have_tolerances_of_their_own(quantity: Quantity, size: float) -> None:
    step = size / 2200
    course = [size * (1 - exp(-i / 5 / 0.8)) for i in range(60)]
    stream = readings([round(v / step) * step for v in course], resolution=step, quantity=quantity)
    (held,) = holds(stream)
    assert held.value == pytest.approx(size, rel=0.003)
    assert held.u < 0.002 * size


def test_a_slide_to_megohms_does_not_make_deaf_to_them_once_the_air_is_known() -> None:
    megohms = noisy(5e6, 12, 500.0, step=100.0)
    stream = [*noisy(82.0, 10, 0.01), *megohms, *air(8), *megohms, *air(4)]
    held = holds(readings(stream, resolution=None))
    assert [h.value for h in held] == [pytest.approx(82.0, abs=0.1), pytest.approx(5e6, rel=0.002)]


def test_leads_shorter_than_zero_are_a_value_like_any_other() -> None:
    held = holds(readings(noisy(-0.02, 10, 0.002, step=0.001), resolution=0.001))
    assert len(held) == 1
    assert held[0].value == pytest.approx(-0.02, abs=0.002)


def test_stages_follow_a_touch() -> None:
    detector = HoldDetector()
    stream = readings([*air(2), *noisy(82.0, 8, 0.01), *air(4)])
    stages = []
    for r in stream:
        detector.feed(r)
        stages.append(detector.stage)
    assert stages[:2] == [Stage.APART] * 2
    assert stages[2] is Stage.CONTACT
    assert stages[3] is Stage.SETTLING
    assert Stage.HELD in stages
    assert stages[-1] is Stage.APART


def test_the_live_value_is_there_while_it_settles_and_none_in_the_air() -> None:
    detector = HoldDetector()
    assert detector.live is None
    seen = []
    for r in readings(noisy(82.0, 8, 0.01)):
        detector.feed(r)
        assert detector.live is not None
        seen.append(detector.live)
    assert seen[0].value == pytest.approx(82.0, abs=0.05)
    assert seen[-1].u < 0.05
    for r in readings(air(4), start=10.0):
        detector.feed(r)
    assert detector.live is None


@pytest.mark.parametrize(
    ("value", "step"), [(0.2, 0.1), (0.2, 0.01), (0.0, 0.01), (0.82, 0.01), (5.0, 0.1)]
)
@pytest.mark.parametrize("sd", [0.3, 0.6, 1.0])
def test_a_few_counts_whose_step_nobody_tells_are_held_once(
    value: float, step: float, sd: float
) -> None:
    for seed in range(40):
        stream = [*air(5), *noisy(value, 40, sd * step, seed, step), *air(5)]
        held = firsts(holds(readings(stream, resolution=None)))
        assert [h.value for h in held] == [pytest.approx(value, abs=max(step, 2 * sd * step))]


def test_what_a_hold_says_of_itself_is_honest() -> None:
    (held,) = holds(readings(noisy(82.0, 30, 0.05, seed=5)))
    assert held.readings >= POLICY.least_readings
    assert held.resolution == 0.01
    assert 0.01 < held.noise < 0.15
    assert 0 < held.u < 2 * held.noise
    assert held.dof >= 1


@pytest.mark.parametrize("rate", [20.0, 50.0, 70.0, 100.0, 1000.0])
def test_the_noise_that_is_told_is_that_of_one_reading(rate: float) -> None:
    told = []
    for seed in range(20):
        stream = air(max(4, whole(rate, 0.8))) + noisy(82.0, whole(rate, 3.0), 0.05, seed)
        told += [held.noise for held in holds(readings(stream, rate))]
    assert 0.035 < median(told) < 0.07
