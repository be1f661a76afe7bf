"""The ruler and its scale: a mark stands inside the window when the value does."""

from math import inf

from hypothesis import given
from hypothesis import strategies as st

from meterlink.judging.criterion import Criterion
from meterlink.quantities.window import Window
from tests.tui.bench_screen import bench, touch
from tests.tui.looking import settled
from tui.screen.ruler import ruler
from tui.screen.scale import AxisScale

WINDING = Criterion.winding(Window(0.7, 1.0))
CLOSED = Criterion.closed(2.0)
OPEN = Criterion.open(1e6)
WIDE = Criterion.part(Window(1e3, 1e6))

criteria = st.sampled_from([WINDING, CLOSED, OPEN, WIDE])
columns = st.integers(40, 160)
ohms = st.floats(0, 1e9, allow_nan=False)


@given(criteria, ohms, ohms)
def test_a_larger_value_never_lies_farther_left(criterion, a, b):
    scale = AxisScale.of(criterion)
    low, high = sorted((a, b))
    assert scale.place(low) <= scale.place(high)


@given(criteria)
def test_the_window_lies_within_the_line_with_room_beside_it(criterion):
    scale = AxisScale.of(criterion)
    for end in (criterion.window.low, criterion.window.high):
        if end:
            assert 0 < scale.place(end) < 1


def test_wide_and_one_sided_windows_are_logarithmic_and_narrow_ones_are_not():
    assert not AxisScale.of(WINDING).logarithmic
    assert all(AxisScale.of(criterion).logarithmic for criterion in (CLOSED, OPEN, WIDE))


@given(criteria, ohms, columns)
def test_three_rows_no_wider_than_asked(criterion, value, wide):
    rows = ruler(criterion, value, value / 100, wide)
    assert all(len(row) <= wide for row in rows)


@given(ohms, columns)
def test_the_mark_is_between_the_posts_just_when_the_value_is_in_the_window(value, wide):
    pointer, line, _ = ruler(WINDING, value, 0.0, wide)
    at = next(i for i, c in enumerate(pointer) if c in "▼◀▶")
    left, right = line.index("┣"), line.index("┫")
    cell = 0.75 / wide  # ohms a column, about: at a post the two can share one
    if 0.7 + cell < value < 1.0 - cell:
        assert left < at < right
    elif not 0.7 - cell < value < 1.0 + cell:
        assert not left < at < right


def test_a_value_off_the_line_is_shown_at_its_edge_with_the_way_it_went():
    assert ruler(WINDING, 4.0, 0.0, 60)[0].rstrip().endswith("▶")
    assert ruler(Criterion.part(Window(4e3, 5e3)), 1.0, 0.0, 60)[0].startswith("◀")
    assert ruler(WINDING, inf, 0.0, 60)[0].rstrip().endswith("▶")


def test_uncertainty_is_a_bar_as_long_as_its_value_says():
    pointer, _, _ = ruler(WINDING, 0.85, 0.075, 101)
    bar = pointer.strip()
    assert bar[0] == "├"
    assert bar[-1] == "┤"
    scale = AxisScale.of(WINDING)
    expected = 100 * (scale.place(0.925) - scale.place(0.775))
    assert abs(len(bar) - 1 - expected) <= 1


def test_without_a_value_nothing_points():
    assert ruler(WINDING, None, 0.0, 60)[0] == ""
    assert ruler(WINDING, float("nan"), 0.0, 60)[0] == ""


def test_the_ends_are_written_beneath_their_posts():
    _, line, ends = ruler(WINDING, 0.9, 0.0, 100)
    assert abs(ends.index("0.7 Ω") + 2 - line.index("┣")) <= 1
    assert abs(ends.index("1 Ω") + 1 - line.index("┫")) <= 1
    assert ends.startswith("short")
    assert ends.endswith("open")


async def test_the_verdict_on_one_position_is_not_pointed_at_once_another_is_asked_for():
    async with bench("stop-switch") as (pilot, session):
        await touch(session, 0.5)
        await settled(pilot)
        view = pilot.app.view
        assert view.asked.position == "run"
        assert view.judged.position == "stop"
        assert view.judged_here is None
