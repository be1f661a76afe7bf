"""A whole sitting on a real socket: what the meter is set to is known when a value counts."""

import threading

from captures.job.store import JobStore
from captures.record.replay import Played
from drivers.clock import MonotonicClock
from drivers.opening import open_lasting
from meterlink.commands import Confirm
from meterlink.events import Asked, Judged, MeterConfirmed, MeterSet, Verdict
from tests.drivers.scpi_serving import serving
from tests.drivers.scpi_variants import Instrument, Variant
from tests.meterlink.bench_hands import PRIMARY, PROFILE, card
from tui.session.setup import session


class Turned(Instrument):
    """An instrument whose panel is touched in mid-step."""

    def __init__(self, to, back_after=10**9):
        super().__init__(Variant("turned", slow_s=0.01))
        self.to, self.back_after = to, back_after
        self.taken = 0

    def reading(self):
        self.taken += 1
        if self.taken == 20:
            self.turn()
        if self.taken == self.back_after:
            self.function = "RES"
        return self.shown()

    def turn(self):
        self.function = self.to

    def shown(self):
        ohms = 0.85 if self.taken % 2 else 0.8501
        if self.taken < 20 or self.taken > 400:
            return b"+9.90000000E+37"
        return b"+%.8fE+00" % (ohms if self.function == "RES" else ohms + 0.1)


def work(instrument, tmp_path, readings):
    """Work the primary until the instrument has given so many readings; return the events."""
    events = []
    stop = threading.Event()
    with serving(instrument) as url:
        clock = MonotonicClock()
        source = open_lasting(url, clock=clock)
        store = JobStore(tmp_path)
        with store.create("turned") as job:
            with session(job, source, clock, card(PRIMARY), PROFILE) as sitting:

                def face(seen):
                    events.extend(seen.events)
                    if instrument.taken >= readings:
                        stop.set()

                sitting.show(face)
                sitting.begin()
                sitting.tell(Confirm())
                sitting.run(stop)
            source.close()
            (capture,) = job.job.captures()
    return events, capture


def of(events, kind):
    return [event for event in events if isinstance(event, kind)]


def test_a_meter_turned_to_volts_in_mid_step_judges_nothing(tmp_path):
    events, capture = work(Turned("VOLT"), tmp_path, 200)
    assert of(events, MeterConfirmed)[0].why.startswith("The meter was turned to voltage")
    assert not of(events, Judged)
    assert of(events, MeterSet)[-1].quantity == "voltage"
    assert "Nothing was judged" in of(events, Asked)[-1].say
    replayed(capture)


def test_once_it_is_turned_back_the_same_touch_counts(tmp_path):
    events, capture = work(Turned("VOLT", back_after=120), tmp_path, 400)
    assert of(events, Judged)[-1].verdict is Verdict.IN_WINDOW
    assert of(events, MeterConfirmed)[0].why
    assert not of(events, MeterConfirmed)[-1].why
    replayed(capture)


def test_a_function_without_a_name_here_is_shown_as_the_meter_says_it(tmp_path):
    events, _ = work(Turned("THER:FRTD"), tmp_path, 200)
    assert not of(events, Judged)
    assert '“"THER:FRTD"”' in of(events, MeterConfirmed)[0].failed


def test_an_untouched_meter_is_judged_as_ever(tmp_path):
    events, capture = work(Turned("RES"), tmp_path, 200)
    assert of(events, Judged)[-1].verdict is Verdict.IN_WINDOW
    assert [event.why for event in of(events, MeterConfirmed)] == [""]
    replayed(capture)


class Relative(Turned):
    """Its relative mode is switched on at the panel, and it says so where it is asked."""

    on = False

    def turn(self):
        self.on = True

    def setting(self, header, value, *, query):
        if header == "RES:REF:STAT" and query:
            return str(int(self.on)).encode(), 0
        return super().setting(header, value, query=query)


def test_relative_mode_switched_on_at_the_panel_judges_nothing(tmp_path):
    events, capture = work(Relative("RES"), tmp_path, 200)
    assert not of(events, Judged)
    assert "relative mode" in of(events, MeterConfirmed)[0].why
    replayed(capture)


def replayed(path):
    """The record must come to the same events again."""
    with Played(path) as played:
        for _ in played.moments():
            pass
        comparison = played.replay.comparison
        assert comparison.equal, comparison.differences
