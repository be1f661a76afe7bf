"""Two rows of events: equal to the last bit, but for rounding, or in what they differ."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from captures.record.comparison import Comparison, Side
from meterlink.events import Asked, Contact, Event, Held, Lift, StepBegan

HELD = Held(t=2.0, contact_t=1.0, value=0.86, readings=9, noise=1e-3, resolution=0.0, u=1e-3, dof=8)
ROW = [
    StepBegan(t=0.0, step="primary"),
    Contact(t=1.0),
    HELD,
    Asked(t=2.0, step="primary", say="Lift."),
    Lift(t=3.0, contact_t=1.0, held=True),
]


def compared(recorded: list[Event], now: list[Event], *, cut: bool = False) -> Comparison:
    comparison = Comparison()
    for event in recorded:
        comparison.take(Side.RECORDED, event)
    for event in now:
        comparison.take(Side.NOW, event)
    comparison.finish(cut=cut)
    return comparison


def with_hold(**changes: object) -> list[Event]:
    return [replace(event, **changes) if event is HELD else event for event in ROW]


def test_the_same_row_is_exact():
    comparison = compared(ROW, ROW)
    assert comparison.exact
    assert comparison.equal
    assert comparison.differences == []


def test_not_a_number_and_infinity_equal_themselves():
    odd = with_hold(noise=math.nan, dof=math.inf)
    assert compared(odd, odd).exact


def test_the_last_bit_is_rounding_and_named_as_such():
    comparison = compared(ROW, with_hold(u=math.nextafter(HELD.u, 1.0)))
    assert not comparison.exact
    assert comparison.equal
    assert comparison.rounded == 1


def test_another_wording_is_no_difference_and_is_counted():
    asked = Asked(t=4.0, step="primary", say="Probes on.")
    comparison = compared([*ROW, asked], [*ROW, replace(asked, say="Put the probes on.")])
    assert comparison.equal
    assert (comparison.worded, comparison.different) == (1, 0)
    moved = compared([*ROW, asked], [*ROW, replace(asked, say="Put the probes on.", t=4.5)])
    assert (moved.worded, moved.different) == (0, 1)


def test_a_sentence_that_is_gone_is_a_difference():
    asked = Asked(t=4.0, step="primary", say="Probes on.")
    assert not compared([asked], [replace(asked, say="")]).equal


def test_a_field_that_differs_is_named_with_both_values():
    comparison = compared(ROW, with_hold(t=2.25, readings=12))
    (difference,) = comparison.differences
    assert (difference.number, difference.kind) == (3, "hold")
    assert {(f.name, f.recorded, f.now) for f in difference.fields} == {
        ("t", 2.0, 2.25),
        ("readings", 9, 12),
    }
    assert "readings was 9, is 12" in difference.sentence


def test_of_numbers_no_more_digits_are_said_than_it_takes_to_see_the_difference():
    (difference,) = compared(
        ROW, with_hold(t=2.0000048, noise=0.25, u=0.5, readings=12)
    ).differences
    assert "t was 2.000000, is 2.000005;" in difference.sentence
    assert difference.sentence.endswith("; and 1 more of it")


def test_an_event_that_does_not_happen_now_is_named():
    (difference,) = compared(ROW, [*ROW[:2], *ROW[3:]]).differences
    assert difference.only is Side.RECORDED
    assert "does not happen now" in difference.sentence


def test_an_event_that_was_not_recorded_is_named():
    (difference,) = compared([*ROW[:1], *ROW[2:]], ROW).differences
    assert difference.only is Side.NOW
    assert "was not recorded" in difference.sentence


def test_another_order_is_no_equality():
    comparison = compared(ROW, [*ROW[:3], ROW[4], ROW[3]])
    assert not comparison.exact
    assert not comparison.equal


def test_what_a_cut_record_could_not_hold_is_no_difference():
    assert compared(ROW[:3], ROW, cut=True).equal
    assert not compared(ROW[:3], ROW).equal


@given(st.lists(st.sampled_from(ROW), max_size=40), st.integers(0, 39), st.booleans())
def test_any_one_change_is_found_and_no_change_is_none(row, at, drop):
    assert compared(row, row).exact
    if at >= len(row):
        return
    changed = replace(row[at], t=row[at].t + 17.0)
    now = [*row[:at], *([] if drop else [changed]), *row[at + 1 :]]
    comparison = compared(row, now)
    assert not comparison.exact
    assert not comparison.equal


@pytest.mark.parametrize("missing", [1, 50, 5000])
def test_memory_does_not_grow_with_the_row(missing):
    comparison = Comparison()
    for number in range(missing):
        comparison.take(Side.RECORDED, Contact(t=float(number)))
    comparison.finish()
    assert comparison.different == missing
    assert len(comparison.differences) <= 1000
