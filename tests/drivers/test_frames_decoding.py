"""Decoders: any cut, loss, insertion or flipped bit, and never a value that was not sent."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.frames.description import BytesFrame
from drivers.frames.store import load
from meterlink.reading import Quantity
from tests.drivers.frames_by_hand import BY_HAND

WIRES = {
    name: load(name)
    for name in (
        "ascii-digits-11", "ascii-digits-14", "bcd-nibbles-8", "lcd-segments-14",
        "polled-line", "scpi-numbers", "text-number-unit",
    )
}  # fmt: skip
BYTE_WIRES = [n for n, wire in WIRES.items() if isinstance(wire.description.frame, BytesFrame)]
LINE_WIRES = [n for n in WIRES if n not in BYTE_WIRES]

some_wire = st.sampled_from(sorted(WIRES))
some_ohms = st.lists(
    st.one_of(st.just(math.inf), st.floats(0.001, 9e6), st.integers(0, 3000)),
    min_size=1, max_size=12,
)  # fmt: skip


def stream(wire, ohms):
    return [wire.encoder().frame(float(value)) for value in ohms]


def cut(data, rng, longest=9):
    while data:
        size = rng.randint(1, longest)
        yield data[:size]
        data = data[size:]


def said(frames):
    return [(frame.value, frame.overload, frame.status.resolution) for frame in frames]


@given(some_wire, some_ohms, st.randoms(use_true_random=False))
def test_frames_do_not_depend_on_how_bytes_arrive(name, ohms, rng):
    data = b"".join(stream(WIRES[name], ohms))
    whole, pieces = WIRES[name].decoder(), WIRES[name].decoder()
    expected = said(whole.feed(data))
    assert said([frame for piece in cut(data, rng) for frame in pieces.feed(piece)]) == expected
    assert (pieces.dropped, pieces.dropped_bytes) == (whole.dropped, whole.dropped_bytes)
    assert len(expected) >= len(ohms) - 1  # a line's first may be the rest of one


@given(some_wire, st.lists(st.floats(0.01, 9e6), min_size=1, max_size=8))
def test_values_come_back_within_half_a_count(name, ohms):
    wire = WIRES[name]
    decoder = wire.decoder()
    decoder.expect_whole()
    frames = decoder.feed(b"".join(stream(wire, ohms)))
    for value, frame in zip(ohms, frames, strict=True):
        assert not frame.overload
        assert abs(frame.value - value) <= frame.status.resolution * 0.500001


@given(st.sampled_from(BYTE_WIRES), st.binary(max_size=400), st.randoms(use_true_random=False))
def test_every_byte_is_in_a_frame_dropped_or_held_back(name, noise, rng):
    wire = WIRES[name]
    frames = stream(wire, [1.0, math.inf, 5130.0])
    data = b"".join(part for frame in frames for part in (frame, noise[: rng.randint(0, 60)]))
    decoder = wire.decoder()
    read = sum(len(frame.data) for piece in cut(data, rng, 40) for frame in decoder.feed(piece))
    assert read + decoder.dropped_bytes + decoder.backlog == len(data)
    assert decoder.backlog < wire.longest


@given(some_wire, st.binary(max_size=3000), st.randoms(use_true_random=False))
def test_backlog_is_at_most_a_frame_whatever_comes(name, noise, rng):
    decoder = WIRES[name].decoder()
    for piece in cut(noise, rng, 200):
        decoder.feed(piece)
        assert decoder.backlog <= WIRES[name].longest


@given(
    some_wire,
    st.integers(0, 11),
    st.sampled_from(["lose", "insert"]),
    st.integers(1, 7),
    st.randoms(use_true_random=False),
)
@settings(max_examples=100)
def test_in_step_again_within_two_frames_after_loss_or_insertion(name, at, what, count, rng):
    wire = WIRES[name]
    ohms = [100.0 + number for number in range(20)]
    frames = stream(wire, ohms)
    struck = at + 2
    frame = frames[struck]
    place = rng.randrange(len(frame))
    if what == "lose":
        frames[struck] = frame[:place] + frame[place + count :]
    else:
        # What a disturbed line makes: bytes that are neither a digit nor an end of line.
        frames[struck] = (
            frame[:place] + bytes(rng.choices(b"\x00\x7f\xff~", k=count)) + frame[place:]
        )
    decoder = wire.decoder()
    decoder.feed(wire.encoder().frame(7.0))
    read = [frame.value for frame in decoder.feed(b"".join(frames))]
    tail = [wire.encoder().frame(value) for value in ohms[struck + 3 :]]
    expected = [f.value for f in fresh(wire).feed(b"".join(tail))]
    assert read[-len(expected) :] == expected
    # And before the damage nothing is missing.
    assert len(read) >= struck + len(expected)


def fresh(wire):
    decoder = wire.decoder()
    decoder.expect_whole()
    return decoder


@pytest.mark.parametrize("name", BYTE_WIRES)
def test_no_value_from_the_joint_where_bytes_were_lost(name):
    """Any run of bytes lost that is shorter than a frame: only values that were sent come out."""
    wire = WIRES[name]
    ohms = [111.0, 222.0, 133.0, 144.0]
    data = b"".join(stream(wire, ohms))
    sent = said(fresh(wire).feed(data))
    length = wire.longest
    for start in range(length, 2 * length):
        for count in range(1, length):
            read = said(wire.decoder().feed(data[:start] + data[start + count :]))
            assert in_order(read, sent), (start, count)
            assert len(read) >= 2


def in_order(part, whole):
    rest = iter(whole)
    return all(any(item == other for other in rest) for item in part)


@pytest.mark.parametrize("name", BY_HAND)
def test_with_any_byte_wrong_it_reads_what_a_loop_written_by_hand_reads(name):
    """All 255 wrong values of every byte: a value only where the format cannot tell."""
    wire, by_hand = WIRES[name], BY_HAND[name]
    for ohms in (0.842, 5130.0, math.inf):
        sound = wire.encoder().frame(ohms)
        for at in range(len(sound)):
            for byte in range(256):
                frame = sound[:at] + bytes([byte]) + sound[at + 1 :]
                read = [
                    f.value
                    for f in wire.decoder().feed(frame)
                    if f.status.quantity is Quantity.RESISTANCE
                ]
                expected = by_hand(frame)
                assert read == ([] if expected is None else [expected]), (at, byte)


def test_with_a_checksum_no_wrong_byte_at_all_gives_a_value():
    wire = WIRES["bcd-nibbles-8"]
    sound = wire.encoder().frame(84.2)
    for at in range(len(sound)):
        for bit in range(8):
            frame = sound[:at] + bytes([sound[at] ^ 1 << bit]) + sound[at + 1 :]
            assert wire.decoder().feed(frame) == []


@pytest.mark.parametrize("name", sorted(WIRES))
@pytest.mark.parametrize("start", range(0, 60, 3))
def test_starting_anywhere_gives_only_values_that_were_sent(name, start):
    wire = WIRES[name]
    ohms = [1111.0, 1222.0, 1333.0, 1444.0, 1555.0, 1666.0]
    data = b"".join(stream(wire, ohms))
    sent = said(fresh(wire).feed(data))
    read = said(wire.decoder().feed(data[start:]))
    assert in_order(read, sent)
    whole = (len(data) - start) // wire.longest if name in BYTE_WIRES else 1
    assert len(read) >= whole - 1


def test_a_line_cut_off_at_its_front_gives_no_value():
    wire = WIRES["text-number-unit"]
    decoder = wire.decoder()
    assert decoder.feed(b"234 ohm\r\n") == []
    assert [frame.value for frame in decoder.feed(b"1.234 ohm\r\n")] == [1.234]
    assert decoder.dropped == 1


def test_a_line_broken_in_two_gives_no_value_of_either_half():
    decoder = fresh(WIRES["text-number-unit"])
    read = decoder.feed(b"5.130 kohm\r\n5.1\r\n31 kohm\r\n5.132 kohm\r\n")
    assert [frame.value for frame in read] == [5130.0, 5132.0]
    assert decoder.dropped == 2


def test_two_lines_run_together_cost_only_themselves():
    decoder = fresh(WIRES["text-number-unit"])
    read = decoder.feed(b"1 ohm\r\n2 ohm3 ohm\r\n4 ohm\r\n")
    assert [frame.value for frame in read] == [1.0, 4.0]
    assert decoder.dropped == 1


@pytest.mark.parametrize("name", LINE_WIRES)
def test_a_line_without_an_end_is_dropped_and_the_next_but_one_is_read(name):
    wire = WIRES[name]
    decoder = fresh(wire)
    for _ in range(50):
        assert decoder.feed(b"1" * 997) == []
        assert decoder.backlog <= wire.longest
    assert decoder.feed(b"\r\n") == []
    read = decoder.feed(b"".join(stream(wire, [5.0, 6.0, 7.0])))
    assert [frame.value for frame in read][-1] == 7.0
    assert decoder.dropped >= 1


def test_overload_and_not_a_number_of_scpi_lines():
    # SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5 (from memory): 9.9E37 infinity, 9.91E37 NaN.
    read = WIRES["scpi-numbers"].decoder().feed(b"+9.9E+37\n-9.90000000E+37\n+9.91000000E+37\n")
    assert [frame.value for frame in read[:2]] == [math.inf, -math.inf]
    assert [frame.overload for frame in read] == [True, True, False]
    assert math.isnan(read[2].value)
    assert all(frame.status.resolution is None for frame in read[:2])


def test_values_are_the_nearest_floats_to_what_is_shown():
    read = fresh(WIRES["text-number-unit"]).feed(b"0.3 ohm\r\n5.13 kohm\r\n0.7 mV\r\n1.1 nF\r\n")
    assert [frame.value for frame in read] == [0.3, 5130.0, 0.0007, 1.1e-9]
