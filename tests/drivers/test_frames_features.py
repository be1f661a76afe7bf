"""What a frame description can say beyond the formats that ship, each against frames made by hand.

CRCs are held against the one of the standard library (``binascii.crc_hqx``, polynomial 0x1021), and
against the check values of “123456789” that catalogues of CRCs print (from memory).
"""

import binascii
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.frames import checksums
from drivers.frames.description import Checksum, Description
from drivers.frames.frame_format import FrameFormat
from drivers.frames.store import check
from meterlink.declared import decode
from meterlink.errors import InvalidFileError

HEAD = """
format = 1
name = "made"
title = "made for a test"
facts = "defined here"
source = "this test"
line = { baud = 9600 }
rate = { slowest_hz = 2, usual_hz = 4 }
"""


def made(text):
    return FrameFormat(decode((HEAD + text).encode(), Description, "made.toml", as_is=True))


def read(wire, *frames):
    decoder = wire.decoder()
    decoder.expect_whole()
    return [frame.value for data in frames for frame in decoder.feed(bytes.fromhex(data))]


def checked(**keys):
    return Checksum(kind="crc", first=0, last=-1, at=0, **keys)


@pytest.mark.parametrize(
    ("keys", "value"),
    [
        ({"bits": 16, "poly": 0x1021, "start": 0xFFFF}, 0x29B1),
        ({"bits": 16, "poly": 0x1021}, 0x31C3),
        ({"bits": 16, "poly": 0x8005, "start": 0xFFFF, "reflected": True}, 0x4B37),
        ({"bits": 16, "poly": 0x8005, "reflected": True}, 0xBB3D),
        ({"bits": 16, "poly": 0x1021, "reflected": True}, 0x2189),
        ({"bits": 16, "poly": 0x1021, "start": 0xFFFF, "reflected": True, "final": 0xFFFF}, 0x906E),
        ({"bits": 8, "poly": 0x07}, 0xF4),
        ({"bits": 8, "poly": 0x31, "reflected": True}, 0xA1),
    ],
)
def test_crcs_give_the_check_values_of_the_catalogues(keys, value):
    assert checksums.crc(checked(**keys), b"123456789") == value


@given(st.binary(max_size=40), st.integers(0, 0xFFFF))
def test_a_crc_of_the_standard_library_comes_out_the_same(data, start):
    ours = checksums.crc(checked(bits=16, poly=0x1021, start=start), data)
    assert ours == binascii.crc_hqx(data, start)


BINARY = """
[frame]
kind = "bytes"
length = 7
marks = [{ at = 0, hex = "AB" }]
[frame.checksum]
kind = "crc"
bits = 16
poly = 0x8005
start = 0xFFFF
reflected = true
order = "little"
first = 0
last = 4
at = 5
[count]
at = [2, 1]
signed = true
largest = 30000
[overload]
counts = [0x7FFF]
[point]
at = "3.low"
codes = { "1" = 1, "3" = 3 }
[flags]
hold = "3.high=0x4"
relative = "3.high=0x8"
[[modes]]
quantity = "resistance"
[[samples]]
hex = "AB 4A 03 03 00 {crc}"
value = 0.842
resolution = 0.001
flags = []
"""


def with_crc(text):
    data = bytes.fromhex(text)
    rest = checksums.crc(checked(bits=16, poly=0x8005, start=0xFFFF, reflected=True), data)
    return (data + rest.to_bytes(2, "little")).hex(" ")


def binary():
    return made(BINARY.replace("AB 4A 03 03 00 {crc}", with_crc("AB 4A 03 03 00")))


def test_a_binary_number_with_a_crc_is_read():
    wire = binary()
    check(wire)
    assert read(wire, with_crc("AB 4A 03 03 00")) == [0.842]
    assert read(wire, with_crc("AB B6 FC 03 00")) == [-0.842]
    assert read(wire, with_crc("AB FF 7F 03 00")) == [float("inf")]
    assert read(wire, with_crc("AB 4A 03 02 00")) == []  # a point that there is not


def test_no_single_flip_passes_a_crc():
    wire, frame = binary(), bytearray.fromhex(with_crc("AB 4A 03 03 00"))
    for bit in range(8 * len(frame)):
        damaged = bytearray(frame)
        damaged[bit // 8] ^= 1 << bit % 8
        assert read(wire, damaged.hex()) == []


def test_a_flag_is_a_value_of_half_a_byte():
    decoder = binary().decoder()
    (held,) = decoder.feed(bytes.fromhex(with_crc("AB 4A 03 43 00")))
    (relative,) = decoder.feed(bytes.fromhex(with_crc("AB 4A 03 83 00")))
    assert (held.status.told, relative.status.told) == (("hold",), ("relative",))


VARYING = """
[frame]
kind = "bytes"
length = 12
shortest = 7
length_byte = { at = 1, adds = 3 }
marks = [{ at = 0, hex = "7E" }]
checksum = { kind = "sum", bits = 16, first = 1, last = -3, at = -2 }
[digits]
coding = "bcd"
at = ["2.high", "2.low", "3.high", "3.low"]
[point]
decimals = 2
[[modes]]
quantity = "resistance"
[[samples]]
hex = "7E 05 08 42 00 00 00 4F"
value = 8.42
"""


def test_frames_say_their_length():
    wire = made(VARYING)
    check(wire)
    short, long = "7E 04 08 42 00 00 4E", "7E 07 08 42 01 02 03 04 00 5B"
    assert read(wire, "7E 05 08 42 00 00 00 4F", short, long) == [8.42] * 3
    assert read(wire, "99 7E 05 08 42 00 00", "00 4F" + short) == [8.42] * 2
    assert read(wire, "7E 05 08 42 00 00 00 50", long) == [8.42]


ENDED = """
[frame]
kind = "bytes"
length = 14
shortest = 7
end = "0D"
[digits]
coding = "ascii"
at = [1, 2, 3, 4]
[sign]
at = 0
[point]
decimals = 3
[[modes]]
quantity = "resistance"
[[samples]]
hex = "2D 30 38 34 32 4F 0D"
value = -0.842
"""


def test_frames_end_with_a_mark():
    wire = made(ENDED)
    check(wire)
    assert read(wire, "2D 30 38 34 32 4F 0D", "2B 30 38 34 32 4F 4F 4F 0D") == [-0.842, 0.842]
    assert read(wire, "34 32 4F 0D", "2B 30 38 34 32 4F 0D") == [0.842]


INVERTED = """
[frame]
kind = "bytes"
length = 6
marks = [{ at = 0, hex = "A5" }]
xor = "FF"
checksum = { kind = "xor", first = 0, last = 4, at = 5 }
[digits]
coding = "bcd"
at = ["1.high", "1.low", "2.high", "2.low"]
[function]
at = ["3.low", "4.high"]
[flags]
low = "4.0"
[sign]
at = "3.high"
minus = "1"
plus = "0"
[point]
decimals = 1
[[modes]]
quantity = "resistance"
function = "3 B"
[[modes]]
quantity = "voltage"
function = "3 C"
[[samples]]
hex = "{frame}"
value = -84.2
quantity = "resistance"
"""


def test_inverted_bytes_a_function_in_two_places_and_a_sign_apart():
    data = bytes.fromhex("A5 08 42 13 B0")
    whole = data + bytes([0xA5 ^ 0x08 ^ 0x42 ^ 0x13 ^ 0xB0])
    frame = bytes(byte ^ 0xFF for byte in whole).hex(" ")
    wire = made(INVERTED.replace("{frame}", frame))
    check(wire)
    assert read(wire, frame, frame) == [-84.2, -84.2]
    decoder = wire.decoder()
    decoder.expect_whole()
    volts = bytes.fromhex("A5 08 42 03 C0")
    volts += bytes([0xA5 ^ 0x08 ^ 0x42 ^ 0x03 ^ 0xC0])
    (got,) = decoder.feed(bytes(byte ^ 0xFF for byte in volts))
    assert got.status.quantity.value == "voltage"


def test_a_key_of_several_bytes():
    text = INVERTED.replace('xor = "FF"', 'xor = "5A C3"')
    data = bytes.fromhex("A5 08 42 13 B0")
    whole = data + bytes([0xA5 ^ 0x08 ^ 0x42 ^ 0x13 ^ 0xB0])
    frame = bytes(b ^ k for b, k in zip(whole, b"\x5a\xc3" * 3, strict=True)).hex(" ")
    check(made(text.replace("{frame}", frame)))


@pytest.mark.parametrize("text", [BINARY, VARYING, ENDED])
def test_any_cut_of_the_bytes_gives_the_same_frames(text):
    wire = made(text.replace("{crc}", with_crc("AB 4A 03 03 00")[-5:]))
    encoder, rng = wire.encoder(), random.Random(1)
    stream = b"".join(encoder.frame(rng.randrange(100, 999) / 1000) for _ in range(40))
    whole = wire.decoder()
    expected = [frame.value for frame in whole.feed(stream)]
    pieces, at, got = wire.decoder(), 0, []
    while at < len(stream):
        step = rng.randint(1, 5)
        got += [frame.value for frame in pieces.feed(stream[at : at + step])]
        at += step
    assert got == expected
    assert len(got) >= 39


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("poly = 0x8005\n", "", "frame.checksum.poly"),
        ("length = 7", "length = 7\nshortest = 9", "frame.shortest"),
        ("[count]\nat = [2, 1]", "[count]\nat = [2, 9]", "count.at"),
        ("[[modes]]", '[start]\nhex = "xx"\n[[modes]]', "start.hex"),
    ],
)
def test_faults_name_their_key(old, new, said):
    assert old in BINARY
    with pytest.raises(InvalidFileError, match=said):
        made(BINARY.replace(old, new))
