"""Taps of the tips, at the edges of what counts: how long, how alike, how far apart.

How long a tap lasts and how far apart two of them lie is of our own making, so these are checked
against the numbers that the manual promises, written here a second time.
"""

import pytest

from meterlink.events import Contact, Held, Lift
from meterlink.reading import Reading
from meterlink.steps.taps import Gesture, Taps

LEADS = 0.1
LOWEST = 4000.0


def taps(lead_zero: float | None = LEADS, lowest: float | None = LOWEST) -> Taps:
    return Taps(lead_zero, lowest)


def tap(
    made: Taps, t: float, lasts: float = 0.5, value: float = LEADS, count: int = 4
) -> Gesture | None:
    """Touch from ``t`` on, with ``count`` readings of ``value`` towards the end of it."""
    made.see(Contact(t=t))
    for number in range(count):
        if made.watching:
            made.read(Reading(t + lasts - 0.01 * (count - number), value))
    return made.see(Lift(t=t + lasts, contact_t=t, held=False))


@pytest.mark.parametrize(
    ("apart", "means"),
    [
        (0.2, Gesture.AGAIN),
        (1.0, Gesture.AGAIN),
        (1.1, None),
        (1.4, None),
        (1.5, Gesture.OPEN),
        (15.0, Gesture.OPEN),
        (15.1, None),
    ],
)
def test_how_far_apart_two_taps_are_says_what_they_mean(apart, means):
    made = taps()
    assert tap(made, 1.0) is None
    assert tap(made, 1.5 + apart) is means


@pytest.mark.parametrize("apart", [0.5, 3.0])
def test_a_gesture_is_made_of_two_taps_and_not_of_a_third(apart):
    made = taps()
    tap(made, 0.0)
    assert tap(made, 0.5 + apart) is not None
    assert tap(made, 1.0 + 2 * apart) is None


@pytest.mark.parametrize(("lasts", "counts"), [(1.5, True), (1.6, False)])
def test_a_long_touch_is_no_tap(lasts, counts):
    made = taps()
    tap(made, 0.0, lasts)
    assert (tap(made, lasts + 3.0) is Gesture.OPEN) is counts


@pytest.mark.parametrize(("count", "counts"), [(3, True), (2, False)])
def test_a_tap_takes_three_readings_of_the_tips(count, counts):
    made = taps()
    tap(made, 0.0, count=count)
    assert (tap(made, 3.0) is Gesture.OPEN) is counts


@pytest.mark.parametrize(("above", "counts"), [(0.149, True), (0.151, False)])
def test_the_tips_alone_read_little_more_than_the_leads(above, counts):
    made = taps()
    tap(made, 0.0, value=LEADS + above)
    assert (tap(made, 3.0) is Gesture.OPEN) is counts


def test_without_a_lead_zero_the_leads_are_allowed_for():
    made = taps(lead_zero=None)
    tap(made, 0.0, value=0.44)
    assert tap(made, 3.0, value=0.44) is Gesture.OPEN
    assert not taps(lead_zero=None).could_be_tap(held(0.46))


def held(value: float, resolution: float = 0.001, unit: str = "ohm") -> Held:
    return Held(
        t=1.0,
        contact_t=0.0,
        value=value,
        unit=unit,
        readings=8,
        noise=0.0,
        resolution=resolution,
        u=0.0,
        dof=7.0,
    )


def test_a_coarse_digit_is_allowed_for_too():
    assert taps().could_be_tap(held(LEADS + 0.6, resolution=0.1))
    assert not taps().could_be_tap(held(LEADS + 0.7, resolution=0.1))
    assert not taps(lowest=1.0).could_be_tap(held(LEADS + 0.55, resolution=0.1))


@pytest.mark.parametrize(("lowest", "tells"), [(0.3, True), (0.29, False), (None, True)])
def test_a_part_that_reads_next_to_nothing_cannot_be_told_from_the_tips(lowest, tells):
    made = taps(lowest=lowest)
    assert made.tell is tells
    tap(made, 0.0)
    assert (tap(made, 3.0) is Gesture.OPEN) is tells


def test_taps_that_do_not_count_are_none():
    made = taps()
    made.count = False
    assert not made.tell
    assert not made.could_be_tap(held(LEADS))
    tap(made, 0.0)
    assert tap(made, 3.0) is None


def test_volts_are_no_tap():
    assert not taps().could_be_tap(held(LEADS, unit="volt"))


def test_what_is_read_while_the_tips_meet_says_nothing_and_two_bounces_after_that_are_forgiven():
    made = taps()
    made.see(Contact(t=0.0))
    for number in range(20):
        made.read(Reading(0.01 * number, 50.0))
    assert made.watching
    made.read(Reading(0.25, 50.0))
    made.read(Reading(0.26, 50.0))
    assert made.watching
    made.read(Reading(0.27, 50.0))
    assert not made.watching


def test_every_touch_has_bounces_of_its_own():
    made = taps()
    for t in (0.0, 10.0):
        made.see(Contact(t=t))
        for number in range(2):
            made.read(Reading(t + 0.3 + 0.01 * number, 50.0))
        assert made.watching
        made.see(Lift(t=t + 0.5, contact_t=t, held=False))
        assert not made.watching


def test_an_over_range_while_tapping_is_no_reading_of_the_part():
    made = taps()
    made.see(Contact(t=0.0))
    for number in range(9):
        made.read(Reading(0.3 + 0.01 * number, float("inf"), overload=True))
    assert made.watching


def test_a_value_held_between_two_taps_parts_them():
    made = taps()
    tap(made, 0.0)
    made.see(Contact(t=1.0))
    made.see(held(5000.0, resolution=1.0))
    assert not made.watching
    made.see(Lift(t=2.5, contact_t=1.0, held=True))
    assert tap(made, 3.0) is None


def test_a_tap_that_is_held_a_moment_is_still_a_tap():
    made = taps()
    tap(made, 0.0)
    made.see(Contact(t=3.0))
    for number in range(4):
        made.read(Reading(3.4 + 0.01 * number, LEADS))
    made.see(held(LEADS))
    assert made.watching
    assert made.see(Lift(t=3.5, contact_t=3.0, held=True)) is Gesture.OPEN
