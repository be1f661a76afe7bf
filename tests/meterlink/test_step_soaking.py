"""Soak and watch: what is counted, what is estimated, and what over range may mean."""

import tracemalloc
from itertools import pairwise

import pytest

from meterlink.commands import CallOpen, Confirm, Enter
from meterlink.events import Asked, Evidence, Judged, StepEnded, Verdict
from meterlink.profile import read_profile
from meterlink.reading import Quantity
from meterlink.steps.soak import SoakPoint
from meterlink.steps.watch import Dropout
from meterlink.steps.worker import ON_METAL
from tests.meterlink.bench_hands import AMBIENT, LEAD_ZERO, OVER, Hands, card

MACHINE = read_profile(
    b"""
format = 1
id = "machine"
name = "machine"
[[winding]]
name = "winding"
between = ["one end", "other end"]
low = "0.1 ohm"
high = "0.3 ohm"
source = "the worked example"
""",
    "machine.toml",
)


def soak(winding: str = "secondary", lasts: str = "60 s") -> str:
    return (
        f'kind = "soak"\nid = "soak"\ntitle = "Soak"\nwinding = "{winding}"\nlasts = "{lasts}"\n'
        'every = "10 s"'
    )


def watch(expect: str = "closed", lasts: str = "20 s") -> str:
    return (
        'kind = "watch"\nid = "watch"\ntitle = "Watch"\nbetween = ["stop wire", "block"]\n'
        f'lasts = "{lasts}"\nexpect = "{expect}"'
    )


# --- soak -------------------------------------------------------------------------------------


def test_the_winding_temperature_of_the_worked_example_to_iec_60034_1():
    # 200 mohm at 20 °C, 210 mohm warm: 32.75 °C by the resistance method, k = 235.
    hands = Hands(card(AMBIENT, soak("winding")), MACHINE).cautions().tell(Enter(text="20 °C"))
    hands.read(0.2, 2, step=1e-5).read(0.21, 40, step=1e-5)
    assert hands.all(SoakPoint)[0].temperature == 20.0
    assert hands.last(SoakPoint).temperature == pytest.approx(32.75, abs=0.02)


def test_leads_and_what_lies_in_series_do_not_warm():
    # 5 kohm of copper at 20 °C are 5 * 275/255 = 5.392 kohm at 40 °C (IEC 60034-1, k = 235).
    steps = (AMBIENT, LEAD_ZERO, soak("suppressed"))
    hands = Hands(card(*steps)).cautions().tell(Enter(text="20 °C")).touch(0.2)
    hands.read(10_000.2, 2, step=0.1).read(10_392.36, 40, step=0.1)
    assert hands.last(SoakPoint).temperature == pytest.approx(40.0, abs=0.1)


def test_a_soak_begins_at_room_temperature_where_nobody_took_it():
    hands = Hands(card(soak())).cautions().read(5000.0, 2, step=0.1).read(5392.16, 40, step=0.1)
    assert hands.all(SoakPoint)[0].temperature == 20.0
    assert hands.last(SoakPoint).temperature == pytest.approx(40.0, abs=0.1)


@pytest.mark.parametrize("step", ["soak", "watch"])
def test_volts_neither_soak_nor_watch(step):
    hands = Hands(card(soak() if step == "soak" else watch())).cautions()
    hands.read(5.0, 3.0, quantity=Quantity.VOLTAGE)
    assert "turn it to resistance" in hands.last(Asked).say
    assert hands.bench.look().remaining_s is None


def test_points_come_at_every_interval_and_the_soak_ends_when_its_time_is_logged():
    hands = Hands(card(soak())).cautions().read(5200.0, 64, step=1.0)
    points = hands.all(SoakPoint)
    assert [round(b.t - a.t) for a, b in pairwise(points)][:5] == [10] * 5
    assert sum(point.lasted_s for point in points) == pytest.approx(60.0, abs=0.3)
    assert hands.outcomes["soak"] == "steady"


def test_over_range_is_counted_asked_about_and_is_no_time_of_the_soak():
    hands = Hands(card(soak())).cautions().read(5200.0, 32, step=1.0).read(OVER, 120)
    assert "soak" not in hands.outcomes
    assert "clip came off" in hands.last(Asked).say
    hands.read(5200.0, 35, step=1.0)
    assert hands.outcomes["soak"] == "steady"
    assert 1150 <= sum(point.over_range for point in hands.all(SoakPoint)) <= 1200
    assert not hands.all(Judged)


def test_it_opens_hot_only_by_the_technicians_word_which_the_record_says():
    hands = Hands(card(soak())).cautions().read(5200.0, 30, step=1.0).read(OVER, 20)
    assert not hands.all(Judged)
    hands.tell(Confirm(who="Ines"))
    assert "soak" not in hands.outcomes
    hands.tell(CallOpen()).tell(Enter(text=ON_METAL, who="Ines"))
    assert hands.last(Judged).verdict is Verdict.OPEN
    assert hands.last(Judged).evidence is Evidence.SAID
    assert hands.outcomes["soak"] == "opens-hot"
    assert hands.last(StepEnded).who == "Ines"


def test_a_soak_of_a_winding_that_resistance_cannot_judge_says_so():
    hands = Hands(card(soak("module"))).cautions()
    assert hands.outcomes["soak"] == "cannot-tell"
    assert "electronics" in hands.last(Asked).say


def test_a_soak_that_a_break_cut_short_goes_on_from_the_same_cold_winding():
    lasts = soak(lasts="120 s")
    first = Hands(card(AMBIENT, lasts)).cautions().tell(Enter(text="20 °C"))
    first.read(5000.0, 2, step=1.0).read(5392.0, 60, step=1.0)
    again = Hands(first.bench.card, past=first.events)
    assert "logged" in again.last(Asked).say
    again.read(5392.0, 20, step=1.0)
    # Were it begun again, the warm winding would count as 20 °C.
    assert again.last(SoakPoint).temperature == pytest.approx(40.0, abs=0.3)
    again.read(5392.0, 45, step=1.0)
    assert again.outcomes["soak"] == "steady"


def test_memory_stays_flat_however_long_the_soak():
    hands = Hands(card(soak(lasts="36000 s"))).cautions().read(5200.0, 20, step=1.0)
    bench, events = hands.bench, hands.events
    hands.read(5200.0, 60, step=1.0)
    tracemalloc.start()
    try:
        hands.events = []
        hands.read(5200.0, 100, step=1.0)
        before = tracemalloc.get_traced_memory()[0]
        hands.events = []
        hands.read(5200.0, 1000, step=1.0)
        hands.events = []
        grown = tracemalloc.get_traced_memory()[0] - before
    finally:
        tracemalloc.stop()
    assert bench.progress.current == "soak"
    assert events
    assert grown < 20_000  # ten thousand readings would need hundreds of kilobytes


# --- watch ------------------------------------------------------------------------------------


def test_dropouts_are_counted_with_time_and_depth():
    hands = Hands(card(watch())).cautions().read(0.3, 4)
    hands.read(OVER, 0.4).read(0.3, 3).read(25.0, 0.5).read(0.3, 20)
    deep, shallow = hands.all(Dropout)
    assert deep.depth is None
    assert deep.lasted_s == pytest.approx(0.4, abs=0.11)
    assert shallow.depth == pytest.approx(25.0, abs=0.01)
    assert shallow.lasted_s == pytest.approx(0.5, abs=0.11)
    assert hands.outcomes["watch"] == "some"


@pytest.mark.parametrize(("rise", "dropouts"), [(0.45, 0), (0.55, 1)])
def test_a_path_has_dropped_out_half_an_ohm_above_its_level(rise, dropouts):
    hands = Hands(card(watch())).cautions().read(0.3, 4).read(0.3 + rise, 0.5).read(0.3, 2)
    assert len(hands.all(Dropout)) == dropouts
    assert [one.good for one in hands.all(Dropout)] == [False] * dropouts


def test_the_question_of_a_watch_is_that_of_its_card():
    asks = watch() + '\nsay = "Clip on, and move the loom."'
    assert "move the loom" in Hands(card(asks)).cautions().last(Asked).say
    assert "Probes on stop wire and block" in Hands(card(watch())).cautions().last(Asked).say


def test_an_over_range_says_nothing_of_a_warm_winding_by_being_confirmed():
    hands = Hands(card(soak())).cautions().read(5200.0, 30, step=1.0).read(OVER, 3.0)
    hands.tell(Confirm())
    assert "clip came off" in hands.last(Asked).say


def test_a_clip_is_asked_about_after_five_seconds_of_over_range_and_not_before():
    hands = Hands(card(soak())).cautions().read(5200.0, 20, step=1.0).read(OVER, 4.5)
    assert "clip came off" not in hands.last(Asked).say
    assert "clip came off" in hands.read(OVER, 1.0).last(Asked).say
    hands.read(5200.0, 2, step=1.0).read(OVER, 4.5)
    assert len([asked for asked in hands.all(Asked) if "clip" in asked.say]) == 1


def test_a_soak_can_be_ended_early_by_confirming_it():
    hands = Hands(card(soak())).cautions().read(5200.0, 20, step=1.0).tell(Confirm())
    assert hands.outcomes["soak"] == "steady"


def test_a_path_that_is_open_from_the_start_is_kept_as_said():
    hands = Hands(card(watch())).cautions().read(OVER, 1.0).call_open()
    result = hands.bench.progress.results["watch"]
    assert (result.outcome, result.evidence, result.said) == ("some", Evidence.SAID, True)


def test_the_time_left_of_a_watch_and_of_a_soak_can_be_seen_and_waits_with_them():
    hands = Hands(card(watch())).cautions()
    assert hands.bench.look().remaining_s is None
    left = [
        hands.read(0.3, 5).bench.look().remaining_s,
        hands.read(0.3, 5).bench.look().remaining_s,
    ]
    assert left[0] - left[1] == pytest.approx(5.0, abs=0.11)
    off = hands.read(OVER, 30).bench.look().remaining_s
    assert left[1] - off < 2.0
    hands.read(0.3, 25)
    assert hands.outcomes["watch"] == "none"
    assert hands.bench.look().remaining_s is None
    hands = Hands(card(soak())).cautions().read(5200.0, 31, step=1.0)
    assert hands.bench.look().remaining_s == pytest.approx(30.0, abs=1.5)


def test_a_quiet_wire_ends_with_none_when_its_time_is_over():
    hands = Hands(card(watch())).cautions().read(0.3, 23)
    assert hands.outcomes["watch"] == "none"
    assert not hands.all(Dropout)


def test_lifted_probes_pause_the_watch_and_are_no_dropout():
    hands = Hands(card(watch())).cautions().read(0.3, 10).read(OVER, 120)
    assert "the watch waits" in hands.last(Asked).say
    assert "watch" not in hands.outcomes
    hands.read(0.3, 14)
    assert hands.outcomes["watch"] == "none"
    assert not hands.all(Dropout)


def test_a_path_that_should_stay_open_counts_its_closures_at_their_lowest():
    hands = Hands(card(watch("open"))).cautions().read(OVER, 2).tell(Confirm())
    hands.read(OVER, 4).read(3.0, 0.4).read(OVER, 20)
    (closed,) = hands.all(Dropout)
    assert closed.depth == pytest.approx(3.0, abs=0.01)
    assert hands.outcomes["watch"] == "some"


def test_a_wire_that_is_open_from_the_start_is_said_by_the_technician():
    hands = Hands(card(watch())).cautions().read(OVER, 30)
    assert "watch" not in hands.outcomes
    hands.tell(Confirm())
    assert "watch" not in hands.outcomes
    hands.call_open()
    assert hands.outcomes["watch"] == "some"
    assert hands.last(StepEnded).evidence is Evidence.SAID
    assert "open from the start" in hands.last(StepEnded).reason


def test_dropouts_before_a_break_still_count_after_it():
    first = Hands(card(watch())).cautions().read(0.3, 4).read(OVER, 0.4).read(0.3, 2)
    again = Hands(first.bench.card, past=first.events)
    again.read(0.3, 23)
    assert again.outcomes["watch"] == "some"


def test_a_path_that_closed_for_long_has_closed_however_long_it_was():
    """Only what is over range may be probes that were lifted."""
    hands = Hands(card(watch(expect="open"))).cautions().tell(Confirm())
    hands.read(OVER, 1.0).read(500.0, 3.0, step=1.0).read(OVER, 1.0)
    (closed,) = hands.all(Dropout)
    assert closed.lasted_s == pytest.approx(3.0, abs=0.11)
    assert not hands.bench.card.find("watch").is_expected("some", None)
    assert hands.bench.card.find("watch").is_expected("none", None)
