"""Listing ports and finding out what is at them."""

import contextlib
import itertools
import os
import socket
import threading
import time
from functools import partial

import pytest

from drivers import discovery
from drivers.discovery import Patience, find_out, probe, probe_all
from drivers.frames.store import load, sample_bytes
from drivers.links.transports import open_link
from drivers.opening import open_source
from drivers.ports import is_excluded, list_ports
from meterlink.errors import MeterError
from tests.drivers.scripted import PtyPeer, bench_meter, tcp_peer

HAS_PTY = hasattr(os, "openpty")
needs_pty = pytest.mark.skipif(not HAS_PTY, reason="no pseudo-terminals here")
QUICK = Patience(first=0.4, other=0.3, listening=1.2)
"""Peers in this process answer at once; what a real meter is given is tested where it is stated."""


@pytest.fixture
def little_patience(monkeypatch):
    for name in ("find_out", "ask"):
        known = getattr(discovery, name)
        monkeypatch.setattr(f"drivers.opening.{name}", partial(known, patience=QUICK))


def test_listing_is_quick_and_asks_no_network():
    began = time.monotonic()
    ports = list_ports()
    assert time.monotonic() - began < 1.0
    assert all(port.name.isprintable() for port in ports)


@pytest.mark.parametrize(
    ("port", "patterns", "excluded"),
    [
        ("/dev/ttyUSB0", ["/dev/ttyUSB0"], True),
        ("/dev/ttyUSB0", ["/dev/ttyUSB1", "/dev/ttyUSB*"], True),
        ("COM3", ["COM30"], False),
        ("COM3", [], False),
    ],
)
def test_what_the_user_excludes_is_known(port, patterns, excluded):
    assert is_excluded(port, patterns) is excluded


def test_a_port_that_is_excluded_is_not_even_opened():
    with tcp_peer(bench_meter()) as peer:
        (found,) = probe_all([peer.url], excluded=[peer.url])
        assert peer.connections == 0
    assert found.wire == ""
    assert "left alone" in found.says


def test_ports_are_probed_side_by_side_and_told_in_order():
    with tcp_peer(bench_meter()) as first, tcp_peer(bench_meter()) as second:
        found = probe_all([first.url, "/no/such/port", second.url])
    assert [one.port for one in found] == [first.url, "/no/such/port", second.url]
    assert [one.wire for one in found] == ["scpi", "", "scpi"]
    assert found[0].identity.maker == "Invented"
    assert "there is no port" in found[1].says
    assert probe_all([]) == []


def test_mute_ports_take_the_stated_time_at_most_however_many_there_are():
    with tcp_peer(lambda line: None) as first, tcp_peer(lambda line: None) as second:
        began = time.monotonic()
        found = probe_all([first.url, second.url])
        assert time.monotonic() - began < 8.5
    assert all("nothing answers" in one.says for one in found)


class Streamer:
    """Sends a sample frame of a wire over TCP, again and again, unasked, as a meter does."""

    def __init__(self, name):
        wire = load(name)
        self._frame = sample_bytes(wire, wire.description.samples[0])
        self._server = socket.create_server(("127.0.0.1", 0))
        self._stop = threading.Event()
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._stop.set()
        with contextlib.suppress(OSError):
            socket.create_connection(self._server.getsockname()).close()
        self._thread.join(5)
        self._server.close()

    def _run(self):
        while not self._stop.is_set():
            peer, _ = self._server.accept()
            with peer, contextlib.suppress(OSError):
                while not self._stop.wait(0.02):
                    peer.sendall(self._frame)


@pytest.mark.parametrize("wire", ["lcd-segments-14", "text-number-unit"])
def test_a_meter_that_only_talks_is_found_and_opened(wire, little_patience):
    with Streamer(wire) as streamer:
        found = probe(streamer.url, patience=QUICK)
        assert found.wire == wire
        assert found.sure
        source = open_source(streamer.url)
        assert len(list(itertools.islice(source.readings(threading.Event()), 3))) == 3
        source.close()


def test_a_named_wire_is_not_doubted(little_patience):
    with Streamer("lcd-segments-14") as streamer:
        source = open_source(streamer.url, wire="lcd-segments-14")
        assert len(list(itertools.islice(source.readings(threading.Event()), 2))) == 2
        source.close()
        with pytest.raises(MeterError):
            open_source(streamer.url, wire="scpi")


@needs_pty
def test_a_modem_is_not_taken_for_a_meter(little_patience):
    peer = PtyPeer(lambda line: b"\r\nERROR\r\n")
    found = probe(peer.device, patience=QUICK)
    assert found.wire == ""
    assert "does not speak as a SCPI meter does" in found.says
    with pytest.raises(MeterError, match="ERROR"):
        open_source(peer.device)
    peer.unplug()


@needs_pty
def test_a_meter_that_answers_at_another_speed_is_found():
    meter = bench_meter()

    def at_115200(line):
        import termios

        speed = termios.tcgetattr(peer.far_end)[4]
        return meter(line) if speed == termios.B115200 else None

    peer = PtyPeer(at_115200)
    link = open_link(peer.device)
    assert find_out(link, QUICK).wire == "scpi"
    link.close()
    peer.unplug()
