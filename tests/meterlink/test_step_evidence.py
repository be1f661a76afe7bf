"""An open is never concluded from lifted probes: streams made to tempt the bench into it.

Each property goes by a rule that is written here a second time, on the readings alone.
"""

from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.commands import Confirm
from meterlink.events import Asked, Evidence, Judged, Verdict
from meterlink.reading import Reading
from tests.meterlink.bench_hands import OVER, SECONDARY, SWITCH, Hands, card

SETTINGS = settings(max_examples=60, deadline=None)

EARTH = 'kind = "measurement"\nid = "earth"\ntitle = "Earth path"\nlead = "earth"'

INSULATION = (
    'kind = "measurement"\nid = "insulation"\ntitle = "Insulation"\ninsulation = "insulation"'
)

TIPS = st.floats(0.05, 0.2)
WINDING = st.floats(4000.0, 7000.0)
ANYTHING_BELOW_OPEN = st.one_of(st.floats(1.0, 150e3), WINDING)

SPELLS = st.integers(1, 40)
"""How many readings, of ten a second."""


def stream(*values: st.SearchStrategy[float | None]) -> st.SearchStrategy[list]:
    return st.lists(st.tuples(st.one_of(*values), SPELLS), min_size=1, max_size=14)


def played(step: str, spells: list) -> Hands:
    """Let the meter show each value for so many readings, as it comes."""
    hands = Hands(card(step)).cautions()
    for value, count in spells:
        digit = 0.001 if value is None or value < 10 else 1.0
        hands.read(value, count / 10, step=digit)
    return hands


def opens(hands: Hands) -> list[Judged]:
    return [event for event in hands.all(Judged) if event.verdict is Verdict.OPEN]


@SETTINGS
@given(stream(st.just(OVER), ANYTHING_BELOW_OPEN))
def test_a_winding_is_never_open_by_over_range_bounce_and_lift_alone(spells):
    assert not opens(played(SECONDARY, spells))


@SETTINGS
@given(stream(st.just(OVER), ANYTHING_BELOW_OPEN))
def test_good_insulation_too_is_concluded_from_no_lifted_probe(spells):
    assert not opens(played(INSULATION, spells))


def taps_in(spells: list) -> int:
    """Return how many stretches between two over ranges show the tips alone, bounces apart.

    A bounce is a reading or two, and as much again while the tips meet.
    """
    found = 0
    for over, run in groupby(spells, key=lambda spell: spell[0] is OVER):
        counts = {True: 0, False: 0}
        for value, count in () if over else run:
            counts[value < 1.0] += count
        found += counts[True] >= 3 and counts[False] <= 4
    return found


@SETTINGS
@given(stream(st.just(OVER), TIPS, WINDING))
def test_taps_make_an_open_only_with_one_before_and_one_after(spells):
    found = opens(played(SECONDARY, spells))
    for judged in found:
        assert judged.evidence is Evidence.TAPPED
    if found:
        assert taps_in(spells) >= 2


def test_the_streams_of_these_tests_can_tempt_at_all():
    tapped = [(OVER, 10), (0.1, 8), (OVER, 30), (0.1, 8), (OVER, 10)]
    assert taps_in(tapped) == 2
    assert len(opens(played(SECONDARY, tapped))) == 1
    assert played(SECONDARY, tapped).outcomes["secondary"] == "open"
    moved = [(0.2, 16), (OVER, 20), (0.2, 16)]
    assert closed_again_after_open(moved)
    assert len(opens(played(SWITCH, moved))) == 1


def closed_again_after_open(spells: list) -> bool:
    """Return whether stretches of three or more readings go closed, over range, closed in turn."""
    wanted = iter([False, True, False])
    waits = next(wanted)
    for over, run in groupby(spells, key=lambda spell: spell[0] is OVER):
        if over is waits and sum(count for _, count in run) >= 3:
            following = next(wanted, None)
            if following is None:
                return True
            waits = following
    return False


@SETTINGS
@given(stream(st.just(OVER), st.floats(0.05, 0.5)))
def test_a_switch_is_open_only_between_two_closed_readings(spells):
    hands = played(SWITCH, spells)
    for judged in opens(hands):
        assert judged.evidence is Evidence.SAME_TOUCH
    if opens(hands):
        assert closed_again_after_open(spells)


@SETTINGS
@given(st.lists(st.tuples(st.just(0.2), st.integers(15, 30)), min_size=1, max_size=3), st.data())
def test_a_slip_of_a_probe_on_a_closed_switch_is_no_open(closed, data):
    hands = Hands(card(SWITCH)).cautions()
    for value, count in closed:
        hands.read(value, count / 10)
        hands.read(OVER, data.draw(st.integers(1, 2)) / 10)
    hands.read(0.2, 3)
    assert not opens(hands)
    assert hands.bench.progress.current == "switch"


@pytest.mark.parametrize(("lasts", "verdicts"), [(0.2, 1), (0.28, 1), (0.32, 3)])
def test_a_fast_meter_sees_a_slip_as_a_lift_and_it_is_no_open_all_the_same(lasts, verdicts):
    """Fifty readings a second: nobody hears “back” and moves a switch in three tenths of one."""
    bench = Hands(card(SWITCH)).cautions().bench
    found = []
    for number in range(240):
        t = number / 50
        over = 1.6 <= t < 1.6 + lasts - 1e-9
        value = float("inf") if over else 0.2 + 0.001 * (number % 3)
        found += bench.feed(Reading(t, value, resolution=0.001, overload=over))
    judged = [event for event in found if isinstance(event, Judged)]
    assert len(judged) == verdicts
    assert any(event.verdict is Verdict.OPEN for event in judged) is (verdicts == 3)
    slipped = [event for event in found if isinstance(event, Asked) and "slipped" in event.say]
    assert bool(slipped) is (verdicts == 1)


def test_a_switch_whose_open_contacts_read_megohms_is_open_between_two_closed_readings():
    hands = Hands(card(SWITCH)).cautions().read(0.2, 1.6).read(5e6, 2.0, step=1000.0)
    assert not opens(hands)
    hands.read(0.2, 2.0)
    assert [judged.evidence for judged in opens(hands)] == [Evidence.SAME_TOUCH]
    assert hands.tell(Confirm()).outcomes["switch"] == "passed"


def test_a_switch_that_leaks_where_it_should_be_open_is_no_good_one():
    hands = Hands(card(SWITCH)).cautions().read(0.2, 1.6).read(20e3, 2.0, step=10.0)
    assert hands.last(Judged).verdict is not Verdict.OPEN
    assert hands.last(Asked).say == "Lift the probes."
    assert hands.read(OVER, 1.0).outcomes["switch"] == "stuck-closed"


def test_the_question_of_a_switch_is_that_of_its_card():
    asks = SWITCH + '\nsay = "Clip on at the kill wire."'
    assert "Clip on at the kill wire. Set the" in Hands(card(asks)).cautions().last(Asked).say
    assert "Probes on stop wire and block." in Hands(card(SWITCH)).cautions().last(Asked).say


def test_probes_that_come_off_before_the_first_closed_reading_move_no_switch():
    hands = Hands(card(SWITCH)).cautions().read(0.2, 0.2).read(OVER, 2.0)
    assert hands.last(Asked).position == "stop"
    hands.read(0.2, 1.6)
    assert [judged.verdict for judged in hands.all(Judged)] == [Verdict.IN_WINDOW]


def test_a_switch_that_stays_closed_is_asked_about_eight_seconds_after_it_was_to_open():
    hands = Hands(card(SWITCH)).cautions().read(OVER, 3.0).read(0.2, 1.6)
    hands.read(0.2, 6.5)
    assert "Still closed" not in hands.last(Asked).say
    hands.read(0.2, 3.0)
    assert "Still closed" in hands.last(Asked).say
    assert len([asked for asked in hands.all(Asked) if "Still" in asked.say]) == 1


@SETTINGS
@given(stream(st.just(OVER), ANYTHING_BELOW_OPEN), st.data())
def test_a_word_makes_an_open_only_while_the_meter_reads_over_range(spells, data):
    hands = Hands(card(SECONDARY)).cautions()
    at = data.draw(st.integers(0, len(spells)))
    last: float | None = 0.0
    for index, (value, count) in enumerate([*spells, (None, 0)]):
        if index == at:
            before = len(opens(hands))
            hands.tell(Confirm())
            assert len(opens(hands)) == before
            hands.call_open()
            if len(opens(hands)) > before:
                assert last is OVER
                assert hands.last(Judged).evidence is Evidence.SAID
            return
        hands.read(value, count / 10, step=1.0)
        last = value


@SETTINGS
@given(st.floats(210e3, 5e6), st.integers(20, 40))
def test_megohms_of_fingers_are_open_as_a_reading_says_it(ohms, count):
    hands = Hands(card(SECONDARY)).cautions().read(ohms, count / 10, step=100.0)
    (judged,) = opens(hands)
    assert judged.evidence is Evidence.READ
    assert judged.value > 200e3
