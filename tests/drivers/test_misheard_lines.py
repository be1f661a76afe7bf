"""Characters heard with other line settings than they were sent with."""

from hypothesis import given
from hypothesis import strategies as st

from drivers.links.link import LineSettings, decode_at_wrong_settings

SLOW = LineSettings(baud=2400)
FAST = LineSettings(baud=9600)


@given(st.binary(max_size=40))
def test_with_the_same_settings_it_is_what_was_sent(data):
    assert decode_at_wrong_settings(data, FAST, FAST) == data


@given(st.binary(min_size=1, max_size=40))
def test_a_few_per_cent_of_speed_do_no_harm(data):
    # A receiver that samples in the middle of a bit bears about half a bit in ten: 5 %.
    assert decode_at_wrong_settings(data, LineSettings(baud=9600), LineSettings(baud=9700)) == data


def test_a_character_at_a_quarter_of_the_speed_worked_out_by_hand():
    # 0x55 as 2400 8N1 is the levels 0 10101010 1; four 9600 bits each. The receiver sees a start
    # bit, three 0, four 1 and a 0, so 0xF8 less its last: bits 0,0,0,1,1,1,1,0 from low to high.
    heard = decode_at_wrong_settings(b"\x55", SLOW, FAST)
    assert heard[0] == 0b01111000
    assert len(heard) > 1


@given(st.binary(min_size=1, max_size=20))
def test_seven_bits_and_parity_read_as_eight_show_the_parity_on_top(data):
    seven = bytes(byte & 0x7F for byte in data)
    sent = LineSettings(baud=9600, data_bits=7, parity="even")
    heard = decode_at_wrong_settings(seven, sent, LineSettings(baud=9600))
    assert [byte & 0x7F for byte in heard] == list(seven)
    assert all(byte.bit_count() % 2 == 0 for byte in heard)
