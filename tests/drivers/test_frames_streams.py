"""The simulated streaming meter: its values, and each thing that can go wrong on its line."""

import itertools
import math
import random
import threading

import pytest

from drivers.clock import MonotonicClock
from drivers.frames.frame_source import open_wire
from drivers.frames.store import load
from drivers.links.link import LineSettings
from drivers.links.transports import open_link
from drivers.simulated.serve import PtyPort, TcpPort, has_ptys
from drivers.simulated.streaming_meter import (
    Pause,
    Send,
    StreamFaultInjector,
    StreamFaults,
    StreamingMeter,
    Unplug,
    touches,
)
from meterlink.errors import MeterError

FRAME = bytes(range(10, 24))
has_pty = pytest.mark.skipif(not has_ptys(), reason="no pseudo-terminals")


def happenings(faults, seed=1, frame=FRAME):
    return list(StreamFaultInjector(faults, random.Random(seed)).happenings(frame))


def test_without_faults_frames_go_out_as_they_are():
    assert happenings(StreamFaults()) == [Send(FRAME)]


@pytest.mark.parametrize("seed", range(20))
def test_each_fault_does_what_it_says(seed):
    (lost,) = happenings(StreamFaults(drop=1.0), seed)
    assert len(FRAME) - 3 <= len(lost.data) < len(FRAME)
    (flipped,) = happenings(StreamFaults(flip=1.0), seed)
    assert sum((a ^ b).bit_count() for a, b in zip(flipped.data, FRAME, strict=True)) == 1
    (longer,) = happenings(StreamFaults(insert=1.0), seed)
    assert len(FRAME) < len(longer.data) <= len(FRAME) + 3
    front, pause, back = happenings(StreamFaults(split=1.0), seed)
    assert front.data + back.data == FRAME
    assert isinstance(pause, Pause)
    pause, whole = happenings(StreamFaults(stall=1.0, stall_s=3.0), seed)
    assert (pause, whole) == (Pause(3.0), Send(FRAME))
    half, pulled = happenings(StreamFaults(unplug=1.0, unplug_s=4.0), seed)
    assert FRAME.startswith(half.data)
    assert pulled == Unplug(4.0)
    (endless,) = happenings(StreamFaults(endless=1.0), seed)
    assert len(endless.data) == StreamFaultInjector.ENDLESS_BYTES


def test_the_same_seed_gives_the_same_values_and_faults():
    def run(seed):
        values = itertools.islice(touches(random.Random(seed), 5.0), 200)
        spoiler = StreamFaultInjector(StreamFaults(drop=0.2, flip=0.2), random.Random(seed))
        return [(value, list(spoiler.happenings(FRAME))) for value in values]

    assert run(4) == run(4)
    assert run(4) != run(5)


def test_touches_are_in_the_air_between_and_settle_to_the_resistance_and_leads():
    values = list(itertools.islice(touches(random.Random(1), 10.0, [100.0]), 60))
    assert all(value == math.inf for value in values[:20])
    assert all(abs(value - 100.12) < 1.0 for value in values[20:])
    assert sum(values[40:]) / 20 == pytest.approx(100.12, abs=0.1)


@has_pty
def test_a_meter_that_minds_the_speed_is_garbled_at_another():
    wire = load("lcd-segments-14")
    values = itertools.repeat(0.84)
    with StreamingMeter(wire, PtyPort(), values=values, rate_hz=200, mind_speed=True) as meter:
        source = open_wire(
            open_link(meter.port.name), wire, MonotonicClock(), line=LineSettings(baud=9600)
        )
        with pytest.raises(MeterError, match="does not fit"):
            next(source.readings(threading.Event()))
        source.close()
        source = open_wire(open_link(meter.port.name), wire, MonotonicClock())
        assert next(source.readings(threading.Event())).value == 0.84
        source.close()


def test_a_meter_with_wrong_settings_is_garbled_everywhere():
    wire = load("lcd-segments-14")
    faults = StreamFaults(wrong_settings=True)
    with StreamingMeter(
        wire, TcpPort(), values=itertools.repeat(0.84), rate_hz=500, faults=faults
    ) as meter:
        source = open_wire(open_link(meter.port.name), wire, MonotonicClock())
        with pytest.raises(MeterError, match="does not fit"):
            next(source.readings(threading.Event()))
        source.close()


@has_pty
def test_a_reader_that_does_not_read_stops_nothing():
    wire = load("scpi-numbers")
    with StreamingMeter(wire, PtyPort(), values=itertools.repeat(1.0), rate_hz=1e5) as meter:
        link = open_link(meter.port.name)
        while meter.sent < 2000:  # 28 kB, where a pseudo-terminal holds 4
            threading.Event().wait(0.01)
        link.close()


def test_a_port_that_is_taken_is_said():
    port = TcpPort()
    with pytest.raises(MeterError, match="is taken"):
        TcpPort(int(port.name.rpartition(":")[2]))
    port.unplug()
