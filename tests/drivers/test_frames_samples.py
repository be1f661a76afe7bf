"""Every description that ships: its samples, its encoder, and where its facts come from."""

import tomllib

import pytest

from drivers.frames.places import DIGITS, SEGMENTS, drawings
from drivers.frames.store import SHIPPED, check, load, names, sample_bytes, sample_fault
from tests.drivers.frames_by_hand import BY_HAND

SHIPPED_NAMES = sorted(file.stem for file in SHIPPED.glob("*.toml"))


def numbered_samples():
    for name in SHIPPED_NAMES:
        told = tomllib.loads((SHIPPED / f"{name}.toml").read_text("utf-8"))
        for number in range(len(told["samples"])):
            yield pytest.param(name, number, id=f"{name}-{number}")


def test_the_shapes_that_ship():
    assert SHIPPED_NAMES == [
        "ascii-digits-11",
        "ascii-digits-14",
        "bcd-nibbles-8",
        "lcd-segments-14",
        "polled-line",
        "scpi-numbers",
        "text-number-unit",
    ]
    assert set(names()) >= set(SHIPPED_NAMES)


@pytest.mark.parametrize(("name", "number"), list(numbered_samples()))
def test_sample_is_read_as_it_says(name, number):
    wire = load(name)
    assert sample_fault(wire, wire.description.samples[number]) is None


@pytest.mark.parametrize("name", SHIPPED_NAMES)
def test_what_the_encoder_sends_the_decoder_reads(name):
    check(load(name))


@pytest.mark.parametrize("name", SHIPPED_NAMES)
def test_name_is_that_of_the_file_and_the_source_is_told(name):
    wire = load(name)
    assert wire.name == name
    assert len(wire.description.source) > 60
    told = any(mode.percent is not None for mode in wire.description.modes)
    assert bool(wire.description.accuracy_source) == told


@pytest.mark.parametrize("name", SHIPPED_NAMES)
def test_samples_hold_a_reading_an_overload_a_minus_and_a_refusal(name):
    samples = load(name).description.samples
    assert any(sample.value is not None and sample.value > 0 for sample in samples)
    assert any(sample.value is not None and sample.value < 0 for sample in samples)
    assert any(sample.overload for sample in samples)
    assert any(sample.refused for sample in samples)


@pytest.mark.parametrize("name", BY_HAND)
def test_samples_agree_with_a_loop_written_by_hand(name):
    wire = load(name)
    for sample in wire.description.samples:
        if sample.quantity == "resistance":
            read = BY_HAND[name](sample_bytes(wire, sample))
            assert read == (float("inf") if sample.overload else sample.value)
        elif sample.refused:
            assert BY_HAND[name](sample_bytes(wire, sample)) is None


def test_seven_segment_digits_agree_with_the_published_truth_table():
    # Bits gfedcba as data sheets of BCD to seven-segment decoders print them.
    published = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F)
    for digit, bits in enumerate(published):
        lit = {name for place, name in enumerate(SEGMENTS) if bits >> place & 1}
        assert set(DIGITS[str(digit)][0]) == lit


def test_a_half_digit_shows_only_blank_and_1():
    assert set(drawings("bc", {}).values()) == {" ", "1"}
