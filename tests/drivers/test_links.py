"""Byte links over real sockets, pseudo-terminals and a simulated VISA: what came is never lost,
a lost peer is noticed, and every refusal is one sentence with the mend."""

import os
import socket
import threading
import time
from pathlib import Path

import pytest
import serial

from drivers.links import port_errors
from drivers.links.link import LineSettings
from drivers.links.port_errors import holder_of
from drivers.links.transports import has_line, locate, open_link
from meterlink.errors import MeterError, PortLostError, UsageError
from meterlink.source import MeterSetup
from tests.drivers.scripted import PtyPeer, tcp_peer

HAS_PTY = hasattr(os, "openpty")
needs_pty = pytest.mark.skipif(not HAS_PTY, reason="no pseudo-terminals here")


def read_all(link, count):
    data = b""
    until = time.monotonic() + 5
    while len(data) < count and time.monotonic() < until:
        data += link.read(0.2)
    return data


@pytest.fixture
def line():
    """A link and the socket at its other end."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        link = open_link(f"socket://127.0.0.1:{server.getsockname()[1]}")
        peer, _ = server.accept()
        with peer:
            yield link, peer
        link.close()


def test_half_an_answer_is_kept_over_a_timeout(line):
    link, peer = line
    peer.sendall(b"+1.23")
    assert read_all(link, 5) == b"+1.23"
    assert link.read(0.01) == b""
    peer.sendall(b"4\n")
    assert read_all(link, 2) == b"4\n"


def test_discard_forgets_what_came_and_no_more(line):
    link, peer = line
    peer.sendall(b"stale")
    deadline = time.monotonic() + 5
    while not link.read(0) and time.monotonic() < deadline:
        pass
    link.discard()
    peer.sendall(b"fresh")
    assert read_all(link, 5) == b"fresh"


def test_a_peer_that_closes_is_noticed_at_once(line):
    link, peer = line
    peer.close()
    began = time.monotonic()
    with pytest.raises(PortLostError, match="plug the meter in again"):
        link.read(2.0)
    assert time.monotonic() - began < 1.0


def test_a_read_waits_no_longer_than_it_is_told(line):
    link, _ = line
    began = time.monotonic()
    assert link.read(0.1) == b""
    assert 0.09 < time.monotonic() - began < 0.5


def test_closing_twice_and_reading_after_is_no_traceback(line):
    link, _ = line
    link.close()
    link.close()
    with pytest.raises(PortLostError):
        link.read(0.1)
    with pytest.raises(PortLostError):
        link.write(b"x")


@needs_pty
def test_a_serial_port_is_ours_alone_and_the_second_is_told_who_holds_it():
    peer = PtyPeer(lambda line: None)
    link = open_link(peer.device)
    with pytest.raises(MeterError, match="in use") as caught:
        open_link(peer.device)
    if Path("/proc/self/fd").is_dir():
        assert f"process {os.getpid()}" in str(caught.value)
    link.close()
    open_link(peer.device).close()
    peer.unplug()


@needs_pty
@pytest.mark.parametrize("settings", [LineSettings(), LineSettings(baud=2400, dtr=True, rts=False)])
def test_a_serial_port_carries_bytes_both_ways(settings):
    peer = PtyPeer(lambda line: line[::-1] + b"\n")
    link = open_link(peer.device, line=settings)
    link.configure(LineSettings(baud=19200, data_bits=7, parity="even", stop_bits=2))
    link.write(b"abc\n")
    assert read_all(link, 4) == b"cba\n"
    link.close()
    peer.unplug()


@needs_pty
def test_every_call_on_an_unplugged_port_is_the_same_plain_error():
    peer = PtyPeer(lambda line: None)
    link = open_link(peer.device)
    peer.unplug()
    for call in (lambda: link.read(1.0), link.discard, lambda: link.write(b"x" * 10)):
        with pytest.raises(PortLostError, match="no longer answers"):
            call()
    with pytest.raises(MeterError):
        link.configure(LineSettings(baud=19200))
    link.close()
    with pytest.raises(MeterError, match="there is no port"):
        open_link(peer.device)


@needs_pty
def test_a_port_closed_under_its_reader_is_no_traceback():
    peer = PtyPeer(lambda line: None)
    link = open_link(peer.device)
    threading.Timer(0.05, link.close).start()
    with pytest.raises(PortLostError):
        read_all(link, 1)
    peer.unplug()


def test_a_port_without_descriptor_is_read_in_steps():
    link = open_link("loop://")
    assert link.read(0.01) == b""
    link.write(b"abcdef")
    assert read_all(link, 6) == b"abcdef"
    link.close()


def test_files_directories_and_what_is_missing_are_named(tmp_path):
    file = tmp_path / "notes.txt"
    file.write_text("x")
    with pytest.raises(MeterError, match="is a file, not a port"):
        open_link(str(file))
    with pytest.raises(MeterError, match="is a directory, not a port"):
        open_link(str(tmp_path))
    with pytest.raises(MeterError, match="there is no port"):
        open_link(str(tmp_path / "ttyNone"))


@pytest.mark.skipif(not Path("/dev/null").exists(), reason="no such device here")
def test_a_device_that_is_no_serial_port_is_named():
    with pytest.raises(MeterError, match="not a serial port"):
        open_link("/dev/null")


@pytest.mark.skipif(os.name != "posix", reason="permission by group is a POSIX matter")
def test_missing_permission_names_the_group_that_helps(tmp_path):
    import grp

    device = tmp_path / "ttyX"
    device.write_text("")
    device.chmod(0o660)
    group = grp.getgrgid(device.stat().st_gid).gr_name
    said = str(port_errors.cannot_open(str(device), PermissionError(13, "Permission denied")))
    expected = f"join the group {group}" if group != "root" else "udev rule"
    assert expected in said
    assert "no permission to open" in said


def test_a_refused_connection_and_an_unknown_host_are_told_apart():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(MeterError, match="nothing listens there"):
        open_link(f"TCPIP::127.0.0.1::{port}::SOCKET")
    with pytest.raises(MeterError, match="name or address is not known"):
        open_link("socket://no-such-host.invalid:5025")


@pytest.mark.parametrize(
    "port",
    [
        "",
        "  ",
        "FOO::1::INSTR",
        "TCPIP::SOCKET",
        "tcpip::host::SOCKET",
        "USB::0x1234::INSTR",
        "TCPIP::host::99999::SOCKET",
        "socket://here",
        "a\x1bb",
    ],
)
def test_what_is_no_port_is_wrong_usage(port):
    # The resource strings that are refused are those that PyVISA 1.16.2's grammar refuses.
    with pytest.raises(UsageError) as caught:
        open_link(port)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    ("port", "kind", "line"),
    [
        ("COM3", "device", True),
        ("/dev/ttyUSB0", "device", True),
        ("ASRL/dev/ttyUSB0", "ASRL INSTR", True),
        ("ASRLCOM3::INSTR", "ASRL INSTR", True),
        ("socket://[::1]:5025", "socket", False),
        ("rfc2217://host:2217", "rfc2217", True),
        ("TCPIP::meter.example::5025::SOCKET", "TCPIP SOCKET", False),
        ("TCPIP::192.0.2.10::INSTR", "TCPIP INSTR", False),
        ("TCPIP0::192.0.2.10::hislip0", "TCPIP INSTR", False),
        ("USB::0x1234::0x5678::A22-5", "USB INSTR", False),
    ],
)
def test_a_port_is_taken_apart_by_the_grammar_of_visa(port, kind, line):
    # Canonical forms as PyVISA 1.16.2 gives them (VPP-4.3).
    assert locate(port).kind == kind
    assert has_line(port) is line


def test_an_endless_stream_does_not_keep_discard():
    flood = b"7" * 65536

    with tcp_peer(lambda line: flood * 20) as peer:
        link = open_link(peer.url)
        link.write(b"\n")
        began = time.monotonic()
        for _ in range(5):
            link.discard()
        assert time.monotonic() - began < 1.0
        link.close()


def test_nobody_holds_what_nobody_opened(tmp_path):
    file = tmp_path / "free"
    file.write_text("")
    assert holder_of(str(file)) is None
    assert holder_of(str(tmp_path / "missing")) is None


# --- a message link: USB-TMC as PyVISA-sim plays it --------------------------------------------

TMC_METER = """
spec: "1.1"
devices:
  meter:
    eom:
      USB INSTR: {q: "\\n", r: "\\n"}
    error:
      error_queue:
        - {q: "SYST:ERR?", default: '0,"No error"', command_error: '-113,"Undefined header"',
           query_error: '-400,"Query error"'}
    dialogues:
      - {q: "*IDN?", r: "Invented,Bench,7,1.0"}
      - {q: "*CLS"}
      - {q: "FUNC?", r: '"VOLT"'}
      - {q: 'FUNC "RES"'}
      - {q: 'FUNC "VOLT"'}
      - {q: "SAMP:COUN 1"}
      - {q: "TRIG:SOUR IMM"}
      - {q: "READ?", r: "+8.42000000E-01"}
resources:
  USB0::0x1111::0x2222::A7::0::INSTR: {device: meter}
"""
USB_PORT = "USB::0x1111::0x2222::A7::INSTR"


@pytest.fixture
def usb_meter(tmp_path, monkeypatch):
    pytest.importorskip("pyvisa_sim")
    bench = tmp_path / "bench.yaml"
    bench.write_text(TMC_METER, encoding="utf-8")
    monkeypatch.setitem(
        __import__("drivers.links.visa_link", fromlist=["x"])._BACKENDS, "py", f"{bench}@sim"
    )
    monkeypatch.setattr("drivers.links.visa_link._USB_MODULES", ())
    monkeypatch.setattr("drivers.scpi.conversation.OPTIONAL_S", 0.05)


@pytest.mark.usefixtures("usb_meter")
def test_a_usb_instrument_is_read_through_visa():
    from itertools import islice

    from drivers.opening import open_source

    source = open_source(USB_PORT)
    source.prepare(MeterSetup(expected=1.0))
    readings = list(islice(source.readings(threading.Event()), 3))
    source.close()
    assert source.identity.serial == "7"
    assert [reading.value for reading in readings] == [0.842] * 3


@pytest.mark.usefixtures("usb_meter")
def test_a_message_link_ends_every_message_and_times_out_empty():
    link = open_link(USB_PORT)
    assert link.whole
    link.write(b"*IDN?\n")
    assert link.read(1.0) == b"Invented,Bench,7,1.0\n"
    assert link.read(0.05) == b""
    link.discard()
    link.close()
    link.close()


def test_usb_without_its_packages_gives_the_line_that_installs_them(monkeypatch):
    monkeypatch.setattr("drivers.links.visa_link._USB_MODULES", ("no_such_package",))
    with pytest.raises(MeterError, match="python -m pip install pyusb libusb-package"):
        open_link(USB_PORT)


def test_without_a_visa_of_the_system_that_is_said():
    with tcp_peer(lambda line: None) as peer:
        try:
            link = open_link(peer.resource, visa="system")
        except MeterError as fault:
            assert "leave out “--visa system”" in str(fault)  # noqa: PT017 - some systems have one
        else:
            link.close()


@pytest.mark.parametrize("visa", ["py"])
def test_a_refused_socket_through_visa_is_told_at_the_first_write(visa):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    link = open_link(f"socket://127.0.0.1:{port}", visa=visa)
    with pytest.raises(MeterError, match="nothing listens there"):
        link.write(b"*IDN?\n")
    link.close()


@needs_pty
@pytest.mark.parametrize(("parity", "checked"), [("odd", True), ("even", True), ("none", False)])
def test_the_system_is_told_to_check_parity(parity, checked):
    import termios

    peer = PtyPeer(lambda line: None)
    link = open_link(peer.device)
    link.configure(LineSettings(data_bits=7, parity=parity))
    assert bool(termios.tcgetattr(peer.far_end)[0] & termios.INPCK) is checked
    link.configure(LineSettings(baud=2400))
    assert not termios.tcgetattr(peer.far_end)[0] & termios.INPCK
    link.close()
    peer.unplug()


@pytest.mark.parametrize(
    ("typed", "system", "listed"),
    [
        ("COM3", "win32", "COM3"),
        ("com3", "win32", "COM3"),
        ("COM12:", "win32", "COM12"),
        (r"\\.\COM12", "win32", "COM12"),
        ("/dev/tty.usbserial-1410", "darwin", "/dev/cu.usbserial-1410"),
        ("/dev/cu.usbserial-1410", "darwin", "/dev/cu.usbserial-1410"),
        ("/dev/ttyUSB0", "linux", "/dev/ttyUSB0"),
        ("/dev/tty.odd", "linux", "/dev/tty.odd"),
    ],
)
def test_a_serial_port_is_known_by_the_name_that_its_system_lists(typed, system, listed):
    assert port_errors.device_name(typed, system) == listed


# What the serial library says of the system's errors: on Windows in its text only, as the library's
# own source has it (“could not open port {!r}: {!r}”); codes are of Microsoft's published list.
@pytest.mark.parametrize(
    ("fault", "says"),
    [
        (
            "could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)",
            "COM3 is in use by another program; close that first",
        ),
        (
            "could not open port 'COM3': FileNotFoundError(2, 'The system cannot find the file "
            "specified.', None, 2)",
            "there is no port COM3; plug the meter in",
        ),
        (
            "could not open port 'COM3': OSError(22, 'The semaphore timeout period has expired.', "
            "None, 121)",
            "the adapter of COM3 does not answer; unplug it",
        ),
        (
            "could not open port 'COM3': OSError(22, 'The device is not connected.', None, 1167)",
            "there is no port COM3",
        ),
        (
            "Cannot configure port, something went wrong. Original message: OSError(22, 'The "
            "parameter is incorrect.', None, 87)",
            "COM3 is not a serial port",
        ),
        (
            "could not open port 'COM3': OSError(22, 'Something else.', None, 9999)",
            "COM3 cannot be opened",
        ),
    ],
)
def test_errors_of_windows_are_told_by_their_number(fault, says):
    assert says in str(port_errors.cannot_open("COM3", serial.SerialException(fault)))


@pytest.mark.parametrize(
    ("code", "says"),
    [
        (2, "there is no port"),
        (6, "there is no port"),  # ENXIO: “Device not configured” on macOS
        (13, "no permission to open"),
        (16, "is in use"),
        (25, "is not a serial port"),
        (5, "cannot be opened"),
    ],
)
def test_errors_of_macos_and_linux_are_told_by_their_number(code, says):
    fault = serial.SerialException(code, f"could not open port: [Errno {code}] something")
    assert says in str(port_errors.cannot_open("/dev/cu.usbserial-1410", fault))


def test_a_peer_that_closes_behind_visa_is_lost_and_not_waited_for_without_end():
    with socket.create_server(("127.0.0.1", 0)) as server:
        link = open_link(f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET", visa="py")
        peer, _ = server.accept()
        assert link.read(0.05) == b""
        peer.sendall(b"late\nmore\n")
        time.sleep(0.05)
        link.discard()
        peer.sendall(b"fresh\n")
        assert link.read(2.0) == b"fresh\n"
        assert link.read(0.05) == b""
        peer.close()
        with pytest.raises(PortLostError):
            link.discard()
        with pytest.raises(PortLostError):
            link.read(5.0)
        link.close()
