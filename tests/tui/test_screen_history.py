"""The trace's memory: one minute, whatever comes."""

from math import inf

from hypothesis import given
from hypothesis import strategies as st

from tui.screen.view import POINTS, SPAN_S, History

steps = st.lists(
    st.tuples(st.floats(0.0005, 5.0), st.one_of(st.none(), st.just(inf), st.floats(0, 1e8))),
    max_size=300,
)


def fed(readings):
    history, t = History(), 0.0
    for dt, value in readings:
        t += dt
        history.add(t, value)
    return history


@given(steps)
def test_no_more_than_a_minute_is_kept_and_no_value_is_made_up(readings):
    history = fed(readings)
    seen = {value for _, value in readings if value is not None}
    ages = []
    for run_ages, values in history.runs():
        ages += run_ages
        assert set(values) <= seen
    assert all(-SPAN_S <= age <= 0 for age in ages)
    assert ages == sorted(ages)
    assert len(ages) <= 2 * (POINTS + 1)


def test_a_thousand_readings_a_second_for_an_hour_keep_the_same_memory():
    history = History()
    for n in range(3600 * 50):
        history.add(n / 50, 1.0 + n % 7)
        if n % 500 == 0:
            history.mark(n / 50, 1.0)
    points = sum(len(values) for _, values in history.runs())
    assert points <= 2 * (POINTS + 1)
    assert len(history.marks()) <= 7


def test_the_line_is_cut_where_over_range_was():
    history = History()
    for n in range(40):
        history.add(n / 4, None if 10 <= n < 20 else 5.0)
    runs = list(history.runs())
    assert len(runs) == 2
    assert max(runs[0][0]) < min(runs[1][0])


def test_extremes_within_a_bucket_are_both_kept():
    history = History()
    for n, value in enumerate((5.0, 9.0, 1.0, 5.0)):
        history.add(10.0 + n / 100, value)
    ((_, values),) = history.runs()
    assert set(values) == {1.0, 9.0}


def test_a_new_capture_begins_with_an_empty_minute():
    history = History()
    history.add(500.0, 1.0)
    history.mark(500.0, 1.0)
    history.add(0.0, 2.0)
    assert [values for _, values in history.runs()] == [[2.0]]
    assert history.marks() == []
