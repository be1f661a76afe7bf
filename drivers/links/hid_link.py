"""A meter that comes as an HID device: reports in, reports out. Needs the extra ``hid``.

The library is known here alone. Devices are named ``hid://VENDOR:PRODUCT`` or with a serial number
behind, ``hid://VENDOR:PRODUCT/SERIAL``, by what the system says; no table of makers.
"""

import contextlib
import importlib
import platform
import re
from typing import Any, Final

from drivers.links import port_errors
from drivers.links.link import LineSettings, Packets
from meterlink.errors import MeterError, UsageError
from meterlink.quantities.text import plain

_NAME: Final = re.compile(r"hid://([0-9a-fA-F]{4}):([0-9a-fA-F]{4})(?:/(.+))?")
_LOST: Final = (OSError, ValueError)
"""What the library raises on a device that went away, or was closed under its reader."""
_DESKTOP: Final = 1
_NO_METER: Final = frozenset((1, 2, 4, 5, 6, 7))
"""Usages of that page: pointers, mice, joysticks, game pads, keyboards, keypads."""


class HidLink:
    """A ``Link`` over one HID device. What its reports hold is said by ``use``."""

    whole = False

    def __init__(self, name: str) -> None:
        """Open the device.

        Raises:
            UsageError: ``name`` is no such name.
            MeterError: the extra is missing, no such device, no permission, in use.
        """
        self.name = name
        found = _NAME.fullmatch(name)
        if found is None:
            raise UsageError(f"{plain(name)} is not of the form hid://VENDOR:PRODUCT[/SERIAL]")
        vendor, product = int(found[1], 16), int(found[2], 16)
        library = _library()
        if library is None:
            raise MeterError(
                f"{plain(name)} is an HID device, which needs one more package; install it with "
                "“python -m pip install hidapi”"
            )
        self._packets = Packets()
        there = [
            device
            for device in library.enumerate(vendor, product)
            if found[3] is None or device.get("serial_number") == found[3]
        ]
        if not there:
            raise MeterError(f"{plain(name)} is not plugged in; “meterlink meters” lists what is")
        self._device = library.device()
        try:
            self._device.open_path(there[0]["path"])
        except _LOST as fault:
            raise MeterError(_cannot_open(name, vendor, product)) from fault

    def use(self, packets: Packets) -> None:
        """Take payload by ``packets`` from now on, and send what makes the meter send.

        Raises:
            PortLostError: the device went away.
        """
        self._packets = packets
        for report in packets.start:
            data = bytes.fromhex(report)
            if packets.start_kind == "feature":
                self._send(self._device.send_feature_report, data)
            else:
                self._send(self._device.write, data)

    def write(self, data: bytes) -> None:
        size = self._packets.size
        for at in range(0, len(data), size):
            self._send(self._device.write, b"\0" + data[at : at + size].ljust(size, b"\0"))

    def _send(self, send: Any, data: bytes) -> None:
        try:
            sent = send(data)
        except _LOST as fault:
            raise port_errors.lost(self.name) from fault
        if sent is not None and sent < 0:
            raise port_errors.lost(self.name)

    def read(self, timeout_s: float) -> bytes:
        try:
            report = self._device.read(self._packets.size, max(1, round(timeout_s * 1000)))
        except _LOST as fault:
            raise port_errors.lost(self.name) from fault
        return self._packets.payload(bytes(report or b""))

    def discard(self) -> None:
        self.read(0)

    def configure(self, line: LineSettings) -> None:
        """An HID device has no line to set."""

    def close(self) -> None:
        with contextlib.suppress(*_LOST):
            self._device.close()


def list_devices() -> list[dict[str, Any]]:
    """Return what the system says of each device that may be a meter; none without the extra."""
    library = _library()
    if library is None:
        return []
    try:
        found = list(library.enumerate())
    except _LOST:
        return []
    return [
        device
        for device in found
        if not (device.get("usage_page") == _DESKTOP and device.get("usage") in _NO_METER)
    ]


def name_of(device: dict[str, Any]) -> str:
    """Return the name of a device that was listed."""
    serial = plain(device.get("serial_number") or "")
    ids = f"{device['vendor_id']:04x}:{device['product_id']:04x}"
    return f"hid://{ids}/{serial}" if serial else f"hid://{ids}"


def _library() -> Any:
    """The library, or None where it is not installed, or cannot be loaded on this system."""
    try:
        return importlib.import_module("hid")
    except ImportError:
        return None


def _cannot_open(name: str, vendor: int, product: int) -> str:
    shown = plain(name)
    if platform.system() != "Linux":
        return f"{shown} cannot be opened; close the program that uses it and plug it in again"
    return (
        f"no permission to open {shown}, or another program uses it; put "
        f'KERNEL=="hidraw*", ATTRS{{idVendor}}=="{vendor:04x}", ATTRS{{idProduct}}=='
        f'"{product:04x}", TAG+="uaccess" into /etc/udev/rules.d/70-meter.rules and plug it in '
        "again"
    )
