"""What the meter says of itself: by one table it blocks, cautions or is recorded."""

import pytest
from msgspec import structs

from captures.record.records import decode, encode
from meterlink.bench.analysis import Analysis
from meterlink.bench.bench import Bench
from meterlink.events import Asked, Judged, MeterConfirmed, MeterFlags, MeterSet
from meterlink.meter_state import MEANINGS, Effect, MeterState, told_flags
from meterlink.reading import Quantity, Reading
from meterlink.source import Setting
from tests.meterlink.bench_hands import PRIMARY, Hands, card

BLOCKING = sorted(name for name, meaning in MEANINGS.items() if meaning.effect is Effect.BLOCKS)


def flagged(hands, *flags, ohms=0.85, seconds=2.0):
    """Feed readings that carry ``flags``."""
    for _ in range(int(seconds / 0.02)):
        hands.t += 0.02
        reading = Reading(hands.t, ohms, resolution=0.001, flags=flags)
        hands.events += hands.bench.feed(reading)
    return hands


@pytest.mark.parametrize("flag", BLOCKING)
def test_nothing_is_judged_by_readings_that_say_what_they_are_not(flag):
    hands = flagged(Hands(card(PRIMARY)).cautions(), flag)
    assert not hands.all(Judged)
    (told,) = hands.all(MeterFlags)
    assert told.flags == (flag,)
    assert hands.last(Asked).say == MEANINGS[flag].says


def test_a_step_goes_on_as_soon_as_the_flag_is_gone():
    hands = flagged(Hands(card(PRIMARY)).cautions(), "relative")
    flagged(hands)
    assert hands.last(Judged).verdict.value == "in-window"


def test_one_frame_with_a_flag_is_no_news_and_is_not_weighed():
    hands = Hands(card(PRIMARY)).cautions()
    for n in range(100):
        hands.t += 0.02
        flags = ("maximum",) if n % 10 == 5 else ()
        value = 5.0 if flags else 0.85
        hands.events += hands.bench.feed(Reading(hands.t, value, resolution=0.001, flags=flags))
    assert not hands.all(MeterFlags)
    assert hands.last(Judged).value == pytest.approx(0.85)


def test_a_low_battery_is_said_once_and_stands_beside_the_verdict():
    hands = flagged(Hands(card(PRIMARY)).cautions(), "battery_low", seconds=4.0)
    (told,) = hands.all(MeterFlags)
    assert told.cautions == (MEANINGS["battery_low"].says,)
    assert MEANINGS["battery_low"].says in hands.last(Judged).notes


def test_a_manual_range_is_recorded_and_no_more():
    hands = flagged(Hands(card(PRIMARY)).cautions(), "manual")
    assert hands.last(MeterFlags).flags == ("manual",)
    assert MEANINGS["manual"].says not in hands.last(Judged).notes


@pytest.mark.parametrize("quantity", [Quantity.CONTINUITY, Quantity.DIODE])
def test_a_function_that_only_looks_like_it_blocks(quantity):
    hands = Hands(card(PRIMARY)).cautions()
    for _ in range(100):
        hands.t += 0.02
        hands.events += hands.bench.feed(Reading(hands.t, 0.85, quantity, 0.001))
    assert not hands.all(Judged)
    assert hands.last(MeterFlags).blocks == (MEANINGS[quantity.value].says,)


def test_a_record_keeps_the_flags():
    reading = Reading(1.0, 0.85, flags=("battery_low", "manual"))
    assert decode(encode(reading)) == reading
    assert b"flags" not in encode(structs.replace(reading, flags=()))


def test_an_analysis_holds_nothing_that_is_blocked():
    analysis = Analysis()
    said = [analysis.feed(Reading(n * 0.02, 0.85, flags=("hold",))) for n in range(200)]
    assert not any(said)
    assert analysis.summary.holds == 0


def test_only_flags_with_a_meaning_are_told():
    assert told_flags({"bar", "hold", "auto", "beep"}) == ("auto", "hold")


def test_what_the_meter_answers_blocks_as_what_it_sends():
    state = MeterState()
    state.set(Setting(flags=("computed",)))
    assert state.blocks
    assert not state.passes(Reading(0.0, 1.0))


# --- before a held value counts -------------------------------------------------------------


class Confirming(Hands):
    """Hands at a bench whose held values wait for the meter's word."""

    def __init__(self, answers):
        super().__init__(card(PRIMARY))
        self.bench = Bench(self.bench.card, self.bench.profile, confirms=True)
        self.events += self.bench.begin(0.0)
        self.answers = answers

    def feed(self, reading):
        said = [*self.bench.feed(reading)]
        if self.bench.unconfirmed:
            answer = self.answers.pop(0)
            if isinstance(answer, Setting):
                said += self.bench.set_meter(answer, reading.t)
                said += self.bench.confirm(reading.t)
            else:
                said += self.bench.confirm(reading.t, answer)
        return said

    def touch_primary(self):
        """Touch twice."""
        self.cautions()
        for n in range(240):
            self.t += 0.02
            value = 0.95 if n % 2 else 0.951
            over = n % 120 > 80
            value = float("inf") if over else value
            self.events += self.feed(Reading(self.t, value, resolution=0.001, overload=over))
        return self


VOLTS = Setting(quantity=Quantity.VOLTAGE)
OHMS = Setting(quantity=Quantity.RESISTANCE, range=10.0)


def test_a_value_read_while_the_meter_was_on_volts_does_not_count():
    hands = Confirming([VOLTS] * 100).touch_primary()
    assert not hands.all(Judged)
    assert "turned to voltage" in hands.last(MeterConfirmed).why
    assert "turn it to resistance" in hands.last(Asked).say


def test_it_counts_once_the_meter_says_that_it_is_on_ohms():
    hands = Confirming([VOLTS, OHMS, OHMS]).touch_primary()
    assert hands.last(Judged).value == pytest.approx(0.95, abs=0.001)
    assert hands.last(MeterConfirmed).why == ""
    at = [type(event) for event in hands.events]
    assert at.index(MeterConfirmed) < at.index(Judged)
    assert hands.last(MeterSet).range == 10.0


def test_a_meter_that_does_not_answer_leaves_the_value_uncounted():
    hands = Confirming(["the meter did not answer", OHMS, OHMS]).touch_primary()
    (first, *_) = hands.all(MeterConfirmed)
    assert first.failed == first.why == "the meter did not answer"
    assert hands.all(Judged)


def test_relative_mode_found_by_asking_blocks_too():
    relative = Setting(quantity=Quantity.RESISTANCE, flags=("relative",))
    hands = Confirming([relative] * 100).touch_primary()
    assert not hands.all(Judged)
    assert MEANINGS["relative"].says in hands.last(Asked).say


def test_what_cannot_be_asked_stands_beside_the_verdict():
    untold = "The meter cannot be asked what it measures; watch its display."
    hands = Confirming([structs.replace(OHMS, cautions=(untold,))] * 9).touch_primary()
    assert untold in hands.last(Judged).notes
