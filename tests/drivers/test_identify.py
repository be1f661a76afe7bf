"""Which wire a meter speaks, from two seconds of what it sends, and never a wrong one for sure."""

import math
import random

import msgspec
import pytest

from drivers.frames.frame_format import FrameFormat
from drivers.frames.identify import SURE, Listener, identify
from drivers.frames.line_search import Heard, listen, settings_to_try
from drivers.frames.store import load
from drivers.links.link import LineSettings, decode_at_wrong_settings

NAMES = (
    "ascii-digits-11", "ascii-digits-14", "bcd-nibbles-8", "lcd-segments-14",
    "polled-line", "scpi-numbers", "text-number-unit",
)  # fmt: skip
WIRES = [load(name) for name in NAMES]
STREAMING = [wire for wire in WIRES if wire.description.poll is None]


def two_seconds(wire, seed=0, *, over=0.3):
    """What ``wire`` sends in two seconds at its slowest, a share of it over range."""
    rng = random.Random(seed)
    count = math.floor(2 * wire.description.rate.slowest_hz)
    values = [
        math.inf if rng.random() < over else rng.choice([0.84, 51.3, 5130.0, 118e3])
        for _ in range(count)
    ]
    return b"".join(wire.encoder().frame(value * rng.uniform(0.9, 1.1)) for value in values)


@pytest.mark.parametrize("wire", STREAMING, ids=lambda wire: wire.name)
def test_each_shape_is_known_from_two_seconds_at_its_slowest_started_anywhere(wire):
    for seed in range(4):
        data = two_seconds(wire, seed)
        for start in range(wire.longest):
            # Two seconds from the middle of a frame end in the middle of one.
            heard = (data + data)[start : start + len(data)]
            best = identify(heard, WIRES)[0]
            assert best.wire is wire, start
            assert best.confidence >= SURE, start


@pytest.mark.parametrize("wire", STREAMING, ids=lambda wire: wire.name)
@pytest.mark.parametrize("cut", [1, 3, 7])
def test_it_does_not_matter_how_the_bytes_arrive(wire, cut):
    data = two_seconds(wire)
    listener = Listener(WIRES)
    for at in range(0, len(data), cut):
        listener.feed(data[at : at + cut])
    assert listener.ranking() == identify(data, WIRES)


def wrong_lines():
    for wire in STREAMING:
        for line in settings_to_try(STREAMING):
            if (line.baud, line.parity) != (wire.settings[0].baud, wire.settings[0].parity):
                yield pytest.param(wire, line, id=f"{wire.name}-{line.baud}")


@pytest.mark.parametrize(("wire", "line"), list(wrong_lines()))
def test_heard_with_a_wrong_line_nothing_is_sure(wire, line):
    for seed in range(6):
        heard = decode_at_wrong_settings(two_seconds(wire, seed), wire.settings[0], line)
        for match in identify(heard, WIRES, line):
            assert match.confidence < 0.5


@pytest.mark.parametrize("seed", range(40))
def test_noise_is_no_meter(seed):
    noise = random.Random(seed).randbytes(600)
    assert all(match.confidence < 0.5 for match in identify(noise, WIRES))


FOREIGN = {
    "positions by satellite": b"$GPGGA,120000.00,4807.038,N,01131.000,E,1,08,0.9,545.4,M,,*47\r\n",
    "a modem": b"AT\r\nOK\r\nRING\r\n",
    "a boot log": b"[    0.000000] Booting on physical CPU 0x0\r\n",
    "a scale without unit": b"ST,GS,   12.34\r\n",
    "counting": b"1234\r\n",
    "zeros": bytes(40),
    "carriage returns": b"\r\n" * 20,
}


@pytest.mark.parametrize("name", FOREIGN)
def test_what_is_no_meter_is_not_taken_for_one(name):
    assert all(match.confidence < 0.5 for match in identify(FOREIGN[name] * 10, WIRES))


@pytest.mark.parametrize("wire", STREAMING, ids=lambda wire: wire.name)
def test_a_poor_cable_lowers_the_confidence_and_does_not_change_the_wire(wire):
    rng = random.Random(3)
    frames = [wire.encoder().frame(rng.uniform(100, 300)) for _ in range(40)]
    struck = [
        frame if rng.random() < 0.7 else frame[: len(frame) // 2] + b"\xff" + frame[-1:]
        for frame in frames
    ]
    ranking = identify(b"".join(struck), WIRES)
    assert ranking[0].wire is wire
    assert ranking[0].confidence < identify(b"".join(frames), WIRES)[0].confidence


def test_two_wires_that_fit_alike_share_the_certainty():
    lcd = load("lcd-segments-14")
    twin = FrameFormat(msgspec.structs.replace(lcd.description, name="twin"))
    ranking = identify(two_seconds(lcd), [lcd, twin])
    assert [match.confidence for match in ranking] == pytest.approx([0.5, 0.5])


def test_ones_own_description_is_preferred_to_one_that_ships():
    lcd = load("lcd-segments-14")
    own = FrameFormat(msgspec.structs.replace(lcd.description, name="mine"), own=True)
    ranking = identify(two_seconds(lcd), [lcd, own])
    assert [match.wire.name for match in ranking] == ["mine"]
    assert ranking[0].confidence >= SURE


def test_a_polled_meter_is_known_by_its_answer_alone():
    polled = load("polled-line")
    answer = polled.encoder().frame(5130.0)
    assert all(match.wire is not polled for match in identify(answer * 4, WIRES))
    listener = Listener([], asked=polled)
    listener.feed(answer)
    best = listener.best()
    assert best is not None
    assert best.newest is not None
    assert best.newest.value == 5130.0


def test_line_settings_leave_out_what_is_sent_with_others():
    (lcd,) = (wire for wire in WIRES if wire.name == "lcd-segments-14")
    assert identify(two_seconds(lcd), WIRES, LineSettings(baud=9600)) == []
    assert identify(two_seconds(lcd), WIRES, LineSettings(baud=2400))[0].wire is lcd


def test_every_line_setting_is_tried_once_and_the_usual_ones_first():
    lines = settings_to_try(STREAMING)
    assert len(lines) == len(set(lines))
    usual = {wire.settings[0] for wire in STREAMING}
    assert set(lines[: len(usual)]) == usual


class Cable:
    """A serial line whose meter is powered by its control lines in one way alone."""

    whole = False
    name = "/dev/ttyMADE"

    def __init__(self, wire, dtr, rts):
        self.wire, self.levels = wire, (dtr, rts)
        self.line = None
        self.tried = []
        self.t = 0.0

    def now(self):
        return self.t

    def configure(self, line):
        self.line = line
        if not self.tried or self.tried[-1] != (line.dtr, line.rts):
            self.tried.append((line.dtr, line.rts))

    def discard(self):
        pass

    def write(self, data):
        pass

    def read(self, timeout_s):
        before, self.t = self.t, self.t + max(timeout_s, 0.001)
        if (self.line.dtr, self.line.rts) != self.levels or int(before * 3) == int(self.t * 3):
            return b""
        own = self.wire.description.line
        heard = msgspec.structs.replace(self.line, dtr=own.dtr, rts=own.rts)
        return decode_at_wrong_settings(self.wire.encoder().frame(0.842), own, heard)


@pytest.mark.parametrize("levels", [(True, False), (True, True), (False, True), (False, False)])
@pytest.mark.parametrize("name", ["lcd-segments-14", "ascii-digits-11"])
def test_a_cable_is_found_however_it_is_powered(name, levels):
    cable = Cable(load(name), *levels)
    notes = Heard()
    matches = listen(cable, WIRES, cable, may_send=False, budget_s=10.0, notes=notes)
    assert matches[0].wire.name == name
    assert (matches[0].line.dtr, matches[0].line.rts) == levels
    assert notes.count
    assert cable.t < 10.0


def test_a_number_with_a_unit_that_could_be_anything_is_not_taken_for_a_meter():
    assert identify(b"72.1 F\r\n" * 10, WIRES) == []
