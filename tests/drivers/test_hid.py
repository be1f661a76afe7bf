"""HID meters: a fake device at the library's own boundary, as no hardware is here."""

import itertools
import sys
import threading
import types

import pytest

from drivers.discovery import probe
from drivers.frames.store import SHIPPED, load
from drivers.links.hid_link import list_devices
from drivers.links.link import Packets
from drivers.opening import open_lasting, open_source
from drivers.ports import list_ports
from meterlink.errors import MeterError, PortLostError, UsageError
from meterlink.events import Gap

NEVER = threading.Event()
PORT = "hid://f055:1234"
HID = """
[hid]
vendor = "f055"
product = "1234"
size = 8
skip = 1
count_at = 0
count_mask = 0x07
start = ["00 4B 01"]
"""


class Bus:
    """What is plugged in; stands for the library's module."""

    def __init__(self):
        self.there = True
        self.permitted = True
        self.halves = 0
        """Every so many reports one is cut short; 0 for never."""
        self.count = 0
        self.opened = self.plugs = 0
        self.sent: list[bytes] = []
        self.frame = load("ascii-digits-11").encoder().frame(84.2)

    def module(self):
        made = types.ModuleType("hid")
        made.enumerate = self.enumerate
        made.device = lambda: Device(self)
        return made

    def enumerate(self, vendor=0, product=0):
        meter = {
            "path": b"/dev/hidraw7", "vendor_id": 0xF055, "product_id": 0x1234,
            "serial_number": "", "product_string": "cable\x1b[2J", "usage_page": 0xFF00, "usage": 1,
        }  # fmt: skip
        keyboard = {**meter, "product_id": 0x9999, "usage_page": 1, "usage": 6}
        found = [meter, keyboard] if self.there else [keyboard]
        return [
            d for d in found if vendor in (0, d["vendor_id"]) and product in (0, d["product_id"])
        ]


class Device:
    def __init__(self, bus):
        self.bus = bus
        self.reports = None

    def open_path(self, path):
        if not self.bus.permitted:
            raise OSError("open failed")
        self.bus.opened += 1
        self.plug = self.bus.plugs
        pieces = [self.bus.frame[n : n + 5] for n in range(0, len(self.bus.frame), 5)]
        self.reports = itertools.cycle(
            [bytes([0xF0 | len(piece), *piece]).ljust(8, b"\xee") for piece in pieces]
        )

    def read(self, size, timeout_ms=0):
        if not self.bus.there or self.reports is None or self.plug != self.bus.plugs:
            raise OSError("read error")
        report = list(next(self.reports))[:size]
        self.bus.count += 1
        half = self.bus.halves and self.bus.count % self.bus.halves == 0
        return report[: len(report) // 2] if half else report

    def write(self, data):
        if not self.bus.there:
            return -1
        self.bus.sent.append(bytes(data))
        return len(data)

    def close(self):
        self.reports = None


@pytest.fixture
def bus(monkeypatch, tmp_path):
    made = Bus()
    monkeypatch.setitem(sys.modules, "hid", made.module())
    text = (SHIPPED / "ascii-digits-11.toml").read_text("utf-8")
    text = text.replace('name = "ascii-digits-11"', 'name = "my-hid"', 1)
    place = text.index("[line]")
    (tmp_path / "my-hid.toml").write_text(text[:place] + HID + text[place:], "utf-8")
    made.file = str(tmp_path / "my-hid.toml")
    return made


def test_frames_are_put_together_from_the_payload_of_reports(bus):
    source = open_source(PORT, wire=bus.file)
    readings = list(itertools.islice(source.readings(NEVER), 3))
    source.close()
    assert [reading.value for reading in readings] == [84.2] * 3
    assert bus.sent == [bytes.fromhex("00 4B 01")]


def test_half_a_report_costs_its_frame_and_gives_no_false_one(bus):
    bus.halves = 7
    source = open_source(PORT, wire=bus.file)
    readings = list(itertools.islice(source.readings(NEVER), 50))
    source.close()
    assert {reading.value for reading in readings} == {84.2}
    assert source.dropped > 0


def test_devices_are_listed_by_what_the_system_says_and_keyboards_are_not(bus):
    (listed,) = [port for port in list_ports() if port.kind == "hid"]
    assert (listed.name, listed.usb_id) == (PORT, "f055:1234")
    assert listed.description.isprintable()
    assert len(list_devices()) == 1


def test_to_a_device_that_no_description_names_nothing_is_sent(bus):
    found = probe(PORT)
    assert found.wire == ""
    assert "no description names" in found.says
    assert bus.sent == []


def test_a_missing_library_is_said_with_the_mend(monkeypatch):
    monkeypatch.setitem(sys.modules, "hid", None)
    with pytest.raises(MeterError, match="pip install hidapi"):
        open_source(PORT, wire="ascii-digits-11")
    assert list_devices() == []


def test_no_permission_prints_the_rule(bus):
    bus.permitted = False
    with pytest.raises(MeterError) as caught:
        open_source(PORT, wire=bus.file)
    if sys.platform.startswith("linux"):
        assert 'ATTRS{idVendor}=="f055"' in str(caught.value)
    else:
        assert "cannot be opened" in str(caught.value)


def test_what_is_not_plugged_in_is_said(bus):
    bus.there = False
    with pytest.raises(MeterError, match="not plugged in"):
        open_source(PORT, wire=bus.file)
    with pytest.raises(UsageError, match="VENDOR:PRODUCT"):
        open_source("hid://meter", wire=bus.file)


def test_an_unplugged_device_is_lost_and_comes_back(bus):
    source = open_source(PORT, wire=bus.file)
    readings = source.readings(NEVER)
    next(readings)
    bus.there = False
    with pytest.raises(PortLostError, match="plug the meter in again"):
        list(readings)
    source.close()


def test_two_hundred_unplug_cycles_lose_nothing_but_the_gaps(bus):
    gaps: list[Gap] = []
    source = open_lasting(PORT, wire=bus.file, on_gap=gaps.append, retry_s=0.001)
    readings = source.readings(NEVER)
    for cycle in range(200):
        assert [next(readings).value for _ in range(3)] == [84.2] * 3
        assert bus.opened == 1 + cycle
        bus.plugs += 1  # out and in again: what is open is dead
    next(readings)
    source.close()
    assert len([gap for gap in gaps if gap.until is not None]) == 200


@pytest.mark.parametrize(
    ("packets", "report", "payload"),
    [
        (Packets(), b"abc", b"abc"),
        (Packets(skip=1), b"abc", b"bc"),
        (Packets(skip=1, count=1), b"abc", b"b"),
        (Packets(skip=1, count_at=0), b"\x02abc", b"ab"),
        (Packets(skip=1, count_at=0, count_mask=7), b"\xf2abc", b"ab"),
        (Packets(skip=2, count_at=5), b"ab", b""),
        (Packets(skip=4), b"ab", b""),
    ],
)
def test_the_payload_of_a_report_cut_short_is_what_it_has(packets, report, payload):
    assert packets.payload(report) == payload
