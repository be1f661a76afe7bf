"""Losing the meter and finding it again: nothing lost that came, nothing twice."""

import itertools
import os
import threading

import pytest

from drivers.clock import MonotonicClock
from drivers.opening import ReconnectingSource, open_lasting, open_source
from drivers.ports import PortInfo
from meterlink.errors import MeterError, MeterSilentError, PortLostError
from meterlink.reading import Reading
from meterlink.source import Identity, MeterSetup, Setting
from tests.drivers.scripted import PtyPeer, bench_meter, tcp_peer

HAS_PTY = hasattr(os, "openpty")


class Counted:
    """A source that gives so many numbered readings and is then lost."""

    numbers = itertools.count()

    def __init__(self, clock, lasts, fault=PortLostError, serial="1"):
        self._clock = clock
        self._lasts = lasts
        self._fault = fault
        self.identity = Identity(maker="Invented", model="Bench", serial=serial)
        self.prepared = []
        self.closed = 0

    def prepare(self, setup):
        self.prepared.append(setup)
        return Setting(quantity=setup.quantity)

    def confirm(self, setup):
        return Setting(quantity=setup.quantity)

    def readings(self, stop):
        for _ in range(self._lasts):
            if stop.is_set():
                return
            yield Reading(t=self._clock.now(), value=float(next(self.numbers)))
        raise self._fault("the plug slipped")

    def close(self):
        self.closed += 1


@pytest.fixture
def clock():
    return MonotonicClock()


def test_a_thousand_cycles_lose_and_double_nothing(clock):
    Counted.numbers = itertools.count()
    gaps = []
    source = ReconnectingSource(
        Counted(clock, 3), lambda: Counted(clock, 3), clock, gaps.append, retry_s=0
    )
    readings = list(itertools.islice(source.readings(threading.Event()), 3 * 1000 + 1))
    source.close()
    assert [reading.value for reading in readings] == list(range(3001))
    assert all(a.t < b.t for a, b in itertools.pairwise(readings))
    assert len(gaps) == 2000  # one when lost, one when back
    for lost, back in zip(gaps[::2], gaps[1::2], strict=True):
        assert lost.until is None
        assert back.t == lost.t < back.until


class Slow:
    """A clock that stands still now and then, and once goes back."""

    def __init__(self):
        self._times = iter([1.0, 2.0, 2.0, 1.5, 3.0, 3.0, 2.9, 4.0])

    def now(self):
        return next(self._times)


def test_a_reading_from_a_clock_that_went_back_or_stood_still_is_passed_over(clock):
    Counted.numbers = itertools.count()
    source = ReconnectingSource(Counted(Slow(), 8), lambda: Counted(clock, 1), clock)
    readings = itertools.islice(source.readings(threading.Event()), 4)
    assert [(r.t, r.value) for r in readings] == [(1.0, 0), (2.0, 1), (3.0, 4), (4.0, 7)]
    source.close()


def test_the_setting_is_made_again_and_another_meter_is_not_taken(clock):
    stranger = Counted(clock, 1, serial="2")
    back = Counted(clock, 1)
    doors = iter([MeterError("not there"), stranger, back])

    def reopen():
        door = next(doors)
        if isinstance(door, MeterError):
            raise door
        return door

    source = ReconnectingSource(Counted(clock, 1), reopen, clock, retry_s=0)
    setup = MeterSetup(expected=7000.0)
    source.prepare(setup)
    assert len(list(itertools.islice(source.readings(threading.Event()), 2))) == 2
    assert stranger.closed == 1
    assert stranger.prepared == []
    assert back.prepared == [setup]
    source.close()
    assert back.closed == 1


def test_what_is_prepared_while_the_meter_is_away_waits_for_it(clock):
    back = Counted(clock, 1)
    told = []

    def on_gap(gap):
        if gap.until is None:
            assert source.away
            told.append(source.prepare(MeterSetup(expected=1.0)))

    source = ReconnectingSource(Counted(clock, 1), lambda: back, clock, on_gap, retry_s=0)
    list(itertools.islice(source.readings(threading.Event()), 2))
    assert told[0].lost
    assert back.prepared == [MeterSetup(expected=1.0)]
    assert not source.away


def test_stop_ends_the_wait_for_a_meter_that_stays_away(clock):
    def reopen():
        raise MeterError("not there")

    stop = threading.Event()
    gaps = []

    def on_gap(gap):
        gaps.append(gap)
        stop.set()

    source = ReconnectingSource(Counted(clock, 2), reopen, clock, on_gap)
    assert len(list(source.readings(stop))) == 2
    assert [gap.until for gap in gaps] == [None]


def test_a_silent_meter_is_waited_for_too(clock):
    gaps = []
    source = ReconnectingSource(
        Counted(clock, 1, MeterSilentError), lambda: Counted(clock, 1), clock, gaps.append
    )
    assert len(list(itertools.islice(source.readings(threading.Event()), 2))) == 2
    assert len(gaps) == 2


def test_what_makes_no_sense_is_not_a_lost_cable(clock):
    opened = []
    source = ReconnectingSource(Counted(clock, 1, MeterError), lambda: opened.append(1), clock)
    with pytest.raises(MeterError):
        list(source.readings(threading.Event()))
    assert opened == []


def test_a_meter_gone_silent_is_told_apart_from_one_unplugged_over_a_real_line(monkeypatch):
    monkeypatch.setattr("drivers.scpi.meter.MEASURE_S", 0.05)
    monkeypatch.setattr("drivers.scpi.conversation.ANSWER_S", 0.1)
    monkeypatch.setattr("drivers.scpi.conversation.LATE_S", 0.5)
    meter = bench_meter()
    asleep = threading.Event()

    def answer(line):
        return None if asleep.is_set() else meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        readings = source.readings(threading.Event())
        next(readings)
        asleep.set()
        with pytest.raises(MeterSilentError, match="wake it"):
            list(readings)
        asleep.clear()
        source.close()


def test_dropped_connections_lose_and_double_nothing_over_a_real_line():
    meter = bench_meter()
    numbers = itertools.count()
    sent = []

    def answer(line):
        if line == b"READ?":
            number = next(numbers)
            if number % 5 == 4:
                peer.drop()
                return None  # the line goes before the answer
            sent.append(float(number))
            return f"{number}\n".encode()
        return meter(line)

    gaps = []
    with tcp_peer(answer) as peer:
        source = open_lasting(peer.resource, on_gap=gaps.append, retry_s=0)
        source.prepare(MeterSetup())
        readings = list(itertools.islice(source.readings(threading.Event()), 50))
        source.close()
    got = [reading.value for reading in readings]
    tries = [number for number in sent if number % 5 == 0]  # each opening tries one, unrecorded
    assert got == [number for number in sent if number not in tries][:50]
    assert all(a.t < b.t for a, b in itertools.pairwise(readings))
    assert len(gaps) == 2 * (len(tries) - 1)


@pytest.mark.skipif(not HAS_PTY, reason="no pseudo-terminals here")
def test_a_serial_meter_is_found_again_under_another_name():
    first = PtyPeer(bench_meter())
    plugged = {"device": first.device}

    def ports():
        return [
            PortInfo(name="/dev/other", kind="serial", usb_id="1234:0001", serial_number="B"),
            PortInfo(name=plugged["device"], kind="serial", usb_id="1234:0001", serial_number="A"),
        ]

    second = PtyPeer(bench_meter())
    gaps = []
    source = open_lasting(first.device, on_gap=gaps.append, ports=ports, retry_s=0.01)
    readings = source.readings(threading.Event())
    before = next(readings)
    plugged["device"] = second.device
    first.unplug()
    after = next(readings)
    while source.away:
        after = next(readings)
    assert after.t > before.t
    assert source.identity.port == (second.device if gaps else first.device)
    for _ in range(3):
        next(readings)
    assert [gap.until is None for gap in gaps] == [True, False]
    assert "plug the meter in again" in gaps[0].why
    source.close()
    second.unplug()


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (("1:2", "A", "1-1"), ("1:2", "A", "1-4"), True),
        (("1:2", "A", "1-1"), ("1:2", "B", "1-1"), False),
        (("1:2", "", "1-1"), ("1:2", "", "1-1"), True),
        (("1:2", "", "1-1"), ("1:2", "", "1-2"), False),
        (("1:2", "", ""), ("1:2", "", ""), False),
        (("", "", ""), ("", "", ""), False),
        (("1:2", "A", ""), ("1:3", "A", ""), False),
    ],
)
def test_a_device_is_known_by_its_serial_number_or_else_by_its_place(one, other, same):
    def port(name, facts):
        usb_id, number, location = facts
        return PortInfo(
            name=name, kind="serial", usb_id=usb_id, serial_number=number, location=location
        )

    assert port("a", one).same_device(port("b", other)) is same
