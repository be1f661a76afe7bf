"""Streaming and polled meters as sources, over real pseudo-terminals and sockets."""

import itertools
import math
import sys
import threading

import msgspec
import pytest

from drivers.clock import MonotonicClock, VirtualClock
from drivers.frames.frame_format import FrameFormat
from drivers.frames.frame_source import FrameSource, open_wire
from drivers.frames.line_search import listen
from drivers.frames.store import SHIPPED, load, load_all
from drivers.links.link import LineSettings
from drivers.links.transports import open_link
from drivers.simulated.serve import PtyPort, TcpPort
from drivers.simulated.streaming_meter import StreamFaults, StreamingMeter
from meterlink.errors import MeterError, MeterSilentError, PortLostError
from meterlink.reading import Quantity
from meterlink.source import MeterSetup

has_pty = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
NAMES = sorted(file.stem for file in SHIPPED.glob("*.toml"))
OHMS = [0.84, 51.3, 512.0, math.inf]
FAST = 200.0


def ohms_forever():
    return itertools.cycle(OHMS)


@pytest.fixture(params=["tcp", pytest.param("pty", marks=has_pty)])
def port(request):
    return TcpPort() if request.param == "tcp" else PtyPort()


def take(source, count, stop=None):
    stop = stop or threading.Event()
    readings = source.readings(stop)
    taken = list(itertools.islice(readings, count))
    readings.close()
    return taken


def opened(meter, clock=None):
    return open_wire(open_link(meter.port.name), meter.wire, clock or MonotonicClock())


@pytest.mark.parametrize("name", NAMES)
def test_readings_come_as_they_were_sent(name, port):
    with StreamingMeter(load(name), port, values=ohms_forever(), rate_hz=FAST) as meter:
        source = opened(meter)
        readings = take(source, 12)
        source.close()
    values = [reading.value for reading in readings]
    first = next(place for place, ohm in enumerate(OHMS) if near(ohm, readings[0]))
    for place, value in enumerate(values):
        assert near(OHMS[(first + place) % len(OHMS)], readings[place]), values
        assert readings[place].overload == (value == math.inf)
    times = [reading.t for reading in readings]
    assert times == sorted(times)
    assert all(reading.quantity is Quantity.RESISTANCE for reading in readings)
    assert all(reading.raw.isprintable() for reading in readings)


def near(ohm, reading):
    """Whether a reading is ``ohm`` as far as its last digit tells."""
    half_a_count = (reading.resolution or 0.0) * 0.500001
    return reading.value == ohm or abs(reading.value - ohm) <= half_a_count


def test_what_the_knob_is_on_is_read_and_what_to_turn_it_to_is_said(port):
    wire = load("lcd-segments-14")
    volts = itertools.repeat(12.4)
    with StreamingMeter(wire, port, values=volts, quantity=Quantity.VOLTAGE, rate_hz=FAST) as meter:
        source = opened(meter)
        setting = source.prepare(MeterSetup(quantity=Quantity.RESISTANCE, expected=5000.0))
        assert setting.quantity is Quantity.VOLTAGE
        assert setting.lost == ("turn the meter from DC voltage to resistance",)
        assert source.prepare(MeterSetup(quantity=Quantity.VOLTAGE)).lost == ()
        source.close()


def test_a_manual_range_that_ends_too_low_is_said(port):
    wire = load("bcd-nibbles-8")
    with StreamingMeter(
        wire, port, values=itertools.repeat(84.2), flags=["manual"], rate_hz=FAST
    ) as meter:
        source = opened(meter)
        setting = source.prepare(MeterSetup(expected=7000.0))
        assert setting.range == 200.0
        assert setting.resolution == 0.01
        (lost,) = setting.lost
        assert "ends at 200 Ω" in lost
        assert "7 kΩ or more" in lost
        assert source.prepare(MeterSetup(expected=100.0)).lost == ()
        source.close()


def test_readings_of_a_held_display_say_so_and_the_mend_is_told(port):
    wire = load("text-number-unit")
    with StreamingMeter(wire, port, values=ohms_forever(), flags=["hold"], rate_hz=FAST) as meter:
        source = opened(meter)
        setting = source.prepare(MeterSetup())
        assert "hold key" in setting.lost[0]
        assert {reading.flags for reading in take(source, 3)} == {("hold",)}
        assert source.status is not None
        assert source.status.hold
        source.close()


def test_lines_without_a_unit_take_the_quantity_of_the_step(port):
    with StreamingMeter(load("scpi-numbers"), port, values=ohms_forever(), rate_hz=FAST) as meter:
        source = opened(meter)
        assert source.prepare(MeterSetup(quantity=Quantity.VOLTAGE)).quantity is None
        assert {reading.quantity for reading in take(source, 3)} == {Quantity.VOLTAGE}
        source.close()


def test_four_wire_is_said_to_be_out_of_reach(port):
    wire = load("lcd-segments-14")
    with StreamingMeter(wire, port, values=ohms_forever(), rate_hz=FAST) as meter:
        source = opened(meter)
        (lost,) = source.prepare(MeterSetup(four_wire=True)).lost
        assert "lead zero" in lost
        source.close()


def test_prepare_from_another_thread_while_readings_are_read(port):
    wire = load("lcd-segments-14")
    with StreamingMeter(wire, port, values=ohms_forever(), rate_hz=FAST) as meter:
        source = opened(meter)
        stop, settings = threading.Event(), []

        def ask():
            settings.append(source.prepare(MeterSetup()))
            stop.set()

        thread = threading.Thread(target=ask)
        readings = source.readings(stop)
        next(readings)
        thread.start()
        for _ in readings:
            pass
        thread.join()
        assert settings[0].quantity is Quantity.RESISTANCE
        source.close()


def test_a_silent_meter_is_told_from_an_unplugged_one(port):
    wire = load("lcd-segments-14")
    with StreamingMeter(wire, port, values=iter(OHMS), rate_hz=FAST) as meter:
        source = opened(meter)
        stop = threading.Event()
        threading.Timer(0.6, stop.set).start()
        readings = take(source, 9, stop)  # then the battery saver: nothing more
        assert 1 <= len(readings) <= len(OHMS)
        meter.port.unplug()
        with pytest.raises(PortLostError):
            take(source, 1)
        source.close()


def test_a_meter_that_sleeps_is_said_to(port, monkeypatch):
    monkeypatch.setattr("drivers.frames.frame_source.SILENT_S", 0.0)
    wire = load("scpi-numbers")
    fast = msgspec.structs.replace(wire.description.rate, slowest_hz=10.0)
    wire = FrameFormat(msgspec.structs.replace(wire.description, rate=fast))
    with StreamingMeter(wire, port, values=iter(OHMS), rate_hz=FAST) as meter:
        source = opened(meter)
        with pytest.raises(MeterSilentError, match="wake it"):
            take(source, 9)
        source.close()


def test_turning_the_knob_is_told_while_it_is_read():
    """From volts to ohms in the middle of a stream: what was wrong is told, and then no more."""
    wire = load("lcd-segments-14")
    encoder = wire.encoder()
    volts = encoder.frame(12.4, Quantity.VOLTAGE, flags=["auto"])
    ohms, over, kilohms = (
        encoder.frame(value, flags=["auto"]) for value in (51.3, math.inf, 5130.0)
    )
    link = Fed([volts, volts, over, ohms, over, ohms, kilohms])
    source = FrameSource(link, wire, MonotonicClock())
    told = []
    source.on_setting = told.append
    first = source.prepare(MeterSetup())
    assert first.lost == ("turn the meter from DC voltage to resistance",)
    readings = take(source, 6)
    assert [reading.quantity for reading in readings[:2]] == [
        Quantity.VOLTAGE,
        Quantity.RESISTANCE,
    ]
    assert [(setting.lost, setting.range) for setting in told] == [
        ((), None),  # over range on ohms: which range it will come back to is not known
        ((), 100.0),
        ((), 10_000.0),
    ]


class Fed:
    """A link that has one frame for each read, and then nothing."""

    name, whole = "fed", False

    def __init__(self, frames):
        self._frames = iter(frames)

    def read(self, timeout_s):
        return next(self._frames, b"")


def test_what_does_not_fit_the_wire_is_said_and_does_not_go_on_for_ever(port):
    with StreamingMeter(
        load("lcd-segments-14"), port, values=ohms_forever(), rate_hz=FAST
    ) as meter:
        source = open_wire(open_link(meter.port.name), "ascii-digits-11", MonotonicClock())
        with pytest.raises(MeterError, match="does not fit the frame format ascii-digits-11"):
            take(source, 1)
        source.close()


class Played:
    """A link that gives what it was made with, one piece a read, while its clock goes on."""

    name, whole = "played", False

    def __init__(self, pieces, clock, each_s):
        self.pieces, self.clock, self.each_s = iter(pieces), clock, each_s

    def read(self, timeout_s):
        self.clock.advance(self.each_s)
        return next(self.pieces, b"")


def test_noise_before_the_first_frame_ends_nothing_unless_it_lasts():
    wire, clock = load("bcd-nibbles-8"), VirtualClock()
    frame = wire.encoder().frame(842.0)
    played = Played([b"\x55" * 2000, *(frame,) * 4], clock, 0.05)
    readings = take(FrameSource(played, wire, clock), 3)
    assert [reading.value for reading in readings] == [842.0] * 3
    noise = Played(itertools.repeat(b"\x55" * 200), clock, 0.05)
    with pytest.raises(MeterError, match="does not fit"):
        take(FrameSource(noise, wire, clock), 3)


FAULTS = {
    "drop": StreamFaults(drop=0.3),
    "flip": StreamFaults(flip=0.3),
    "insert": StreamFaults(insert=0.3),
    "split": StreamFaults(split=0.5),
    "endless": StreamFaults(endless=0.1),
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("name", ["bcd-nibbles-8", "scpi-numbers"])
def test_faults_of_the_line_cost_readings_and_give_no_false_one(fault, name, port):
    """These two formats tell all of this damage, but for a flipped bit in a digit of a line."""
    with StreamingMeter(
        load(name), port, values=ohms_forever(), rate_hz=500, faults=FAULTS[fault]
    ) as meter:
        source = opened(meter)
        readings = take(source, 40)
        source.close()
    if not (fault in ("flip", "drop", "insert") and name == "scpi-numbers"):
        assert all(any(near(ohm, reading) for ohm in OHMS) for reading in readings)
    assert len(readings) == 40


def test_a_plug_that_slips_is_an_error_and_the_port_comes_back_under_another_name(port):
    moved, there = [], threading.Event()

    def note(name):
        moved.append(name)
        there.set()

    with StreamingMeter(
        load("lcd-segments-14"), port, values=ohms_forever(), rate_hz=FAST,
        faults=StreamFaults(unplug=0.2, unplug_s=0.02), moved=note,
    ) as meter:  # fmt: skip
        first = port.name
        source = opened(meter)
        with pytest.raises(PortLostError):
            take(source, 10_000)
        source.close()
        assert there.wait(5)
        assert moved[0] != first


def test_a_wire_is_found_by_listening_on_a_socket():
    wires, _ = load_all(SHIPPED)
    with StreamingMeter(load("ascii-digits-14"), TcpPort(), values=ohms_forever(), rate_hz=50) as m:
        link = open_link(m.port.name)
        best = listen(link, wires, MonotonicClock(), has_line=False)[0]
        link.close()
    assert best.wire.name == "ascii-digits-14"
    assert best.line is None


def test_a_polled_meter_is_found_by_asking_and_only_where_that_is_allowed():
    wires, _ = load_all(SHIPPED)
    with StreamingMeter(load("polled-line"), TcpPort(), values=ohms_forever(), rate_hz=50) as meter:
        link = open_link(meter.port.name)
        clock = MonotonicClock()
        assert listen(link, wires, clock, has_line=False, may_send=False, budget_s=0.3) == []
        assert meter.sent == 0
        best = listen(link, wires, clock, has_line=False)[0]
        link.close()
    assert best.wire.name == "polled-line"


@has_pty
@pytest.mark.parametrize("name", ["lcd-segments-14", "bcd-nibbles-8", "ascii-digits-11"])
def test_the_line_is_found_by_what_a_wrong_one_sounds_like(name):
    """At its slowest rate, with a reader that begins at another speed: within three seconds."""
    wires, _ = load_all(SHIPPED)
    wire = load(name)
    # A pseudo-terminal knows speeds, but neither parity nor seven bits.
    plain_line = msgspec.structs.replace(wire.description.line, parity="none", data_bits=8)
    wire = FrameFormat(msgspec.structs.replace(wire.description, line=plain_line))
    wires = [wire if other.name == name else other for other in wires]
    slowest = wire.description.rate.slowest_hz
    with StreamingMeter(
        wire, PtyPort(), values=ohms_forever(), rate_hz=slowest, mind_speed=True
    ) as meter:
        link = open_link(meter.port.name, line=LineSettings(baud=57600))
        clock = MonotonicClock()
        best = listen(link, wires, clock)[0]
        took = clock.now()
        link.close()
    assert best.wire.name == name
    assert best.line is not None
    assert best.line.baud == plain_line.baud
    assert took < 3.2
