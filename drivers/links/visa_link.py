"""A meter behind PyVISA: USB-TMC, VXI-11, HiSLIP, or anything a VISA library reaches.

PyVISA's defaults wait for ever on some paths and for nothing on others, so every timeout and
termination is spelled out. What the backends raise is of many kinds, bare exceptions among
them, and is turned into our errors here.
"""

import contextlib
import importlib.util
import re
import select
import socket
import time
from typing import Any, Final, Literal, cast

import pyvisa
from pyvisa import constants
from pyvisa.resources import MessageBasedResource, SerialInstrument

from drivers.links import port_errors
from drivers.links.link import LineSettings
from meterlink.errors import MeterError

_BACKENDS: Final = {"py": "@py", "system": "@ivi"}
_OPEN_MS: Final = 3000
_IO_MS: Final = 2000
_AT_ONCE: Final = 65536
_SHORT_S: Final = 0.01
_AT_MOST_OWED: Final = 64
"""Late answers that are read away at once."""
_USB_MODULES: Final = ("usb",)
_PARITY: Final = {
    "none": constants.Parity.none,
    "even": constants.Parity.even,
    "odd": constants.Parity.odd,
    "mark": constants.Parity.mark,
    "space": constants.Parity.space,
}
_STOP_BITS: Final = {1: constants.StopBits.one, 2: constants.StopBits.two}


class VisaLink:
    """A ``Link`` over one VISA session."""

    whole = True

    def __init__(
        self,
        name: str,
        resource: str,
        visa: Literal["py", "system"] = "py",
        line: LineSettings | None = None,
    ) -> None:
        """Open ``resource``; ``name`` is what the user typed.

        Raises:
            MeterError: no VISA, no such resource, no permission, nothing answering.
        """
        self.name = name
        self._owed = False
        if visa == "py" and resource.upper().startswith("USB"):
            _need_usb(name)
        self._resource = self._open(resource, visa)
        self._timeout_ms = _IO_MS
        if line is not None:
            self.configure(line)

    def _open(self, resource: str, visa: str) -> MessageBasedResource:
        try:
            manager = pyvisa.ResourceManager(_BACKENDS[visa])
        except (OSError, ValueError) as fault:
            raise MeterError(
                "no VISA library is installed on this system; install one, "
                "or leave out “--visa system”"
            ) from fault
        # A message protocol marks its end by itself; streams end at the line feed.
        stream = resource.upper().endswith("::SOCKET") or resource.upper().startswith("ASRL")
        end = {"read_termination": "\n"} if stream else {"read_termination": None}
        try:
            opened = manager.open_resource(
                resource,
                open_timeout=_OPEN_MS,
                timeout=_IO_MS,
                write_termination="",
                **cast("dict[str, Any]", end),
            )
        except Exception as fault:
            raise _cannot_open(self.name, fault) from fault
        if not isinstance(opened, MessageBasedResource):
            opened.close()
            raise MeterError(f"{self.name} is not a resource that messages can be sent to")
        return opened

    def write(self, data: bytes) -> None:
        try:
            self._resource.write_raw(data)
        except ConnectionRefusedError as fault:
            # A refused socket "opens", and shows at the first write.
            raise port_errors.cannot_connect(self.name, fault) from fault
        except Exception as fault:
            raise port_errors.lost(self.name) from fault

    def read(self, timeout_s: float) -> bytes:
        if timeout_s <= 0:
            return b""  # a message link has nothing that comes unasked
        timeout_s -= self._wait_for_peer(timeout_s)
        self._wait_at_most(timeout_s)
        session, library = self._resource.session, self._resource.visalib
        try:
            with self._resource.ignore_warning(constants.StatusCode.success_max_count_read):
                data, status = library.read(session, _AT_ONCE)
        except pyvisa.VisaIOError as fault:
            if fault.error_code == constants.StatusCode.error_timeout:
                self._owed = True
                return b""
            raise port_errors.lost(self.name) from fault
        except UnicodeError:
            return b"\0"  # noise that the backend could not take; nobody mistakes it for a number
        except Exception as fault:
            raise port_errors.lost(self.name) from fault
        ended = status != constants.StatusCode.success_max_count_read
        return bytes(data) + b"\n" if ended and not data.endswith(b"\n") else bytes(data)

    def discard(self) -> None:
        if not self._owed:
            return
        self._owed = False
        if self._peer() is not None:
            for _ in range(_AT_MOST_OWED):  # a clear of a socket never ends once the peer closed
                if not self.read(_SHORT_S):
                    break
            self._owed = False
            return
        # A device clear takes back the answer that did not come in time. Not all know it.
        with contextlib.suppress(pyvisa.VisaIOError, NotImplementedError, OSError):
            self._resource.clear()

    def configure(self, line: LineSettings) -> None:
        if not isinstance(self._resource, SerialInstrument):
            return
        try:
            self._resource.baud_rate = line.baud
            self._resource.data_bits = line.data_bits
            self._resource.parity = _PARITY[line.parity]
            self._resource.stop_bits = _STOP_BITS[line.stop_bits]
        except (pyvisa.VisaIOError, ValueError, OSError) as fault:
            raise MeterError(f"{self.name} cannot be set to {line.baud} baud") from fault

    def close(self) -> None:
        with contextlib.suppress(Exception):
            self._resource.close()

    def _peer(self) -> tuple[socket.socket, bool] | None:
        """Return the raw socket below, and whether the library still holds bytes of it."""
        sessions = getattr(self._resource.visalib, "sessions", {})
        session = sessions.get(self._resource.session)
        peer = getattr(session, "interface", None)
        held = bool(getattr(session, "_pending_buffer", b""))
        return (peer, held) if isinstance(peer, socket.socket) else None

    def _wait_for_peer(self, timeout_s: float) -> float:
        """Wait for bytes where there is a raw socket; return how long that took, seconds.

        The library takes a peer that closed for one that is slow, and the socket tells them apart.

        Raises:
            PortLostError: the peer closed.
        """
        below, began = self._peer(), time.monotonic()
        if below is None or below[1]:
            return 0.0
        try:
            ready, _, _ = select.select([below[0]], [], [], timeout_s)
            if ready and not below[0].recv(1, socket.MSG_PEEK):
                raise port_errors.lost(self.name)
        except (OSError, ValueError) as fault:
            raise port_errors.lost(self.name) from fault
        return time.monotonic() - began

    def _wait_at_most(self, timeout_s: float) -> None:
        timeout_ms = max(1, round(timeout_s * 1000))
        if timeout_ms != self._timeout_ms:
            self._resource.timeout = timeout_ms
            self._timeout_ms = timeout_ms


def _need_usb(name: str) -> None:
    if any(importlib.util.find_spec(module) is None for module in _USB_MODULES):
        raise _usb_missing(name)


def _usb_missing(name: str) -> MeterError:
    return MeterError(
        f"{name} is a USB instrument, which needs two more packages; install them with "
        "“python -m pip install pyusb libusb-package”"
    )


def _cannot_open(name: str, fault: Exception) -> MeterError:
    """Say why, as far as the backend's exception tells."""
    text = str(fault)
    cause: BaseException | None = fault
    while cause is not None:
        if isinstance(cause, ConnectionRefusedError):
            return port_errors.cannot_connect(name, cause)
        cause = cause.__cause__ or cause.__context__
    if "PyUSB" in text or "libusb" in text or "No backend" in text:
        return _usb_missing(name)
    if "Please install" in text or "not available" in text:
        return MeterError(
            f"{name} is of a kind that needs the VISA of this system; add “--visa system”"
        )
    if "No device found" in text:
        return MeterError(f"{name} is not plugged in; “meterlink meters” lists what is")
    if getattr(fault, "errno", None) == 13 or "Access denied" in text:
        return MeterError(f"no permission to open {name}; {_udev_rule(name)}")
    if isinstance(fault, OSError) and name.upper().startswith("ASRL"):
        return port_errors.cannot_open(name, fault)
    if getattr(fault, "error_code", None) == constants.StatusCode.error_resource_busy:
        return MeterError(f"{name} is in use by another program; close that first")
    return MeterError(
        f"nothing answers at {name}; check that the meter is on, its address and the cable"
    )


def _udev_rule(name: str) -> str:
    ids = re.findall(r"(?:0x)?([0-9a-fA-F]{4})", name)
    vendor = f'ATTR{{idVendor}}=="{ids[0].lower()}", ' if ids else ""
    return (
        f'put SUBSYSTEM=="usb", {vendor}TAG+="uaccess" into '
        "/etc/udev/rules.d/70-meter.rules and plug it in again"
    )
