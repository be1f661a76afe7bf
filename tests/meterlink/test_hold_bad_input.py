"""What no meter should send: no exception, no growing memory, and it is said what was passed."""

import random
import tracemalloc
from collections.abc import Iterator
from math import inf, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.events import Held, Lift, PassedOver
from meterlink.hold.detector import HoldDetector
from meterlink.reading import Quantity, Reading
from tests.traces.streams import air, events, holds, noisy, readings


def passed(stream: list[Reading]) -> dict[str, int]:
    return {e.why: e.count for e in events(stream) if isinstance(e, PassedOver)}


def test_not_a_number_is_passed_over_and_counted() -> None:
    values = noisy(82.0, 10, 0.01)
    values[2:2] = [nan, nan]
    stream = readings(values)
    assert passed(stream) == {"not-a-number": 2}
    assert len(holds(stream)) == 1


def test_times_that_repeat_or_go_back_are_passed_over_and_counted() -> None:
    stream = readings(noisy(82.0, 10, 0.01))
    stream[3:3] = [stream[2], stream[1], stream[2]]
    assert passed(stream) == {"time repeated": 2, "time went back": 1}
    assert len(holds(stream)) == 1


def test_a_clock_that_was_set_back_goes_on_from_there() -> None:
    before = readings(noisy(82.0, 10, 0.01), start=1000.0)
    after = readings([*air(5), *noisy(41.0, 20, 0.01)])
    found = [e for e in events(before + after) if isinstance(e, Held | PassedOver)]
    assert [round(e.value) for e in found if isinstance(e, Held)] == [82, 41]
    assert any(e.why == "time went back" for e in found if isinstance(e, PassedOver))


def test_a_clock_of_whole_seconds_that_was_set_back_goes_on_from_there() -> None:
    after = readings([*air(20), *noisy(41.0, 100, 0.01)])
    whole = [Reading(float(int(r.t)), r.value, overload=r.overload) for r in after]
    assert [round(h.value) for h in holds(readings(air(5), start=1000.0) + whole)] == [41]


@pytest.mark.parametrize("at", [1, 2, 3, 6])
def test_a_resolution_that_changes_in_mid_touch_still_holds_once(at: int) -> None:
    fine = readings(noisy(82.0, 20, 0.001, step=0.001), resolution=0.001)
    coarse = readings(noisy(82.0, 20, 0.001, step=0.1), resolution=0.1)
    held = holds(coarse[:at] + fine[at:])
    assert len(held) == 1
    assert held[0].value == pytest.approx(82.0, abs=0.1)


def test_a_quantity_that_changes_in_mid_touch_abandons_the_touch() -> None:
    ohms = readings(noisy(82.0, 2, 0.01))
    volts = readings(noisy(12.0, 8, 0.01), start=1.0, quantity=Quantity.VOLTAGE)
    assert [h.unit for h in holds(ohms + volts)] == ["volt"]
    assert passed(ohms + volts) == {"quantity changed in mid-touch": 1}


def test_a_gap_abandons_the_touch_without_a_lift_that_nobody_saw() -> None:
    detector = HoldDetector()
    first = [e for r in readings(noisy(82.0, 10, 0.01)) for e in detector.feed(r)]
    assert detector.gap(5.0) == []
    assert detector.live is None
    second = events(readings(noisy(82.0, 10, 0.01), start=6.0), detector)
    assert not any(isinstance(e, Lift) for e in first + second)
    assert sum(isinstance(e, Held) for e in first + second) == 2


def flood(kind: str, n: int) -> Iterator[Reading]:
    rng = random.Random(3)
    for i in range(n):
        value = {
            "overload": inf,
            "touch": 82.0 + rng.gauss(0, 0.01),
            "wander": 82.0 * rng.uniform(0.5, 2.0),
            "nan": nan,
            "repeat": 82.0,
        }[kind]
        t = 1.0 if kind == "repeat" else i * 0.3
        yield Reading(t=t, value=value, overload=value == inf)


@pytest.mark.parametrize("kind", ["overload", "touch", "wander", "nan", "repeat"])
def test_memory_does_not_grow_with_the_length_of_a_stream(kind: str) -> None:
    detector = HoldDetector()

    def go_on(start: float) -> None:
        for r in flood(kind, 8_000):
            detector.feed(Reading(r.t + start, r.value, overload=r.overload))

    # What is worked out once and kept is there after the first passes.
    go_on(0.0)
    go_on(1e4)
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    go_on(1e5)
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # Less than ten bytes a reading: another sending interval has tables of its own, eight are kept.
    assert after - before < 60_000


def test_a_million_overloads_are_no_event() -> None:
    detector = HoldDetector()
    said = 0
    for i in range(1_000_000):
        said += len(detector.feed(Reading(i * 0.001, inf, overload=True)))
    assert said == 0
    assert list(detector.close()) == []


def test_ten_hours_without_a_lift_are_one_hold() -> None:
    rng = random.Random(4)
    detector = HoldDetector()
    found = [
        e
        for i in range(36_000)
        for e in detector.feed(Reading(float(i), 82.0 + rng.gauss(0, 0.02), resolution=0.01))
    ]
    assert sum(isinstance(e, Held) for e in found) == 1


ANY_FLOAT = st.floats(allow_nan=True, allow_infinity=True)
ANY_READING = st.builds(
    Reading,
    t=ANY_FLOAT,
    value=ANY_FLOAT,
    quantity=st.sampled_from(Quantity),
    resolution=st.none() | st.floats(min_value=0.0, allow_nan=False, allow_infinity=False),
    overload=st.booleans(),
)


@settings(deadline=None, max_examples=200)
@given(st.lists(ANY_READING, max_size=60))
def test_no_reading_whatsoever_is_an_exception(stream: list[Reading]) -> None:
    events(stream)


@settings(deadline=None, max_examples=200)
@given(
    st.lists(ANY_FLOAT, max_size=60),
    st.sampled_from([2.0, 10.0, 100.0, 1000.0]),
    st.sampled_from([None, 0.0, 1e-6, 0.1, 1e300]),
)
def test_no_value_whatsoever_at_even_times_is_an_exception(
    values: list[float], rate: float, resolution: float | None
) -> None:
    events(readings(values, rate, resolution=resolution))
