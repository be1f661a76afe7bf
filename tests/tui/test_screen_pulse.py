"""The top line's pulse: rate from what came, silence from what did not."""

from hypothesis import given
from hypothesis import strategies as st

from tui.screen.sitting import SILENT_S, Pulse


@given(st.floats(0.1, 2000), st.integers(3, 30))
def test_an_even_stream_has_its_own_rate(rate, seconds):
    pulse = Pulse(0.0)
    for second in range(1, seconds + 1):
        pulse.beat(float(second), int(rate * second))
    if rate >= 1:
        assert abs(pulse.rate - rate) <= 1.0
    assert pulse.count == int(rate * seconds)


def test_silence_begins_after_its_time_and_ends_with_a_reading():
    pulse = Pulse(100.0)
    pulse.beat(101.0, 5)
    pulse.beat(101.0 + SILENT_S, 5)
    assert not pulse.silent
    pulse.beat(101.1 + SILENT_S, 5)
    assert pulse.silent
    pulse.beat(110.0, 6)
    assert not pulse.silent


def test_a_stream_that_began_again_has_no_negative_rate():
    pulse = Pulse(0.0)
    pulse.beat(1.0, 50)
    pulse.beat(2.0, 3)
    assert pulse.rate == 0
