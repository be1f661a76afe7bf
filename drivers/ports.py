"""Which ports this computer has, with what the system knows of each; no table of makers.

Never asked of PyVISA: its listing broadcasts to the network and takes a second.
"""

import fnmatch
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Literal

import msgspec

from drivers.links.hid_link import list_devices, name_of
from drivers.links.port_errors import holder_of
from meterlink.quantities.text import plain

_TMC_CLASS = 0xFE
_TMC_SUBCLASS = 3


class PortInfo(msgspec.Struct, frozen=True, kw_only=True):
    """One port as the system tells of it; every text is made plain."""

    name: str
    """What to type after ``--port``."""
    kind: Literal["serial", "usb", "hid"]
    """A serial port, a USB instrument (USB-TMC), or an HID device."""
    description: str = ""
    usb_id: str = ""
    """Vendor and product, ``1234:5678``; empty where it is no USB device."""
    serial_number: str = ""
    location: str = ""
    """Where it is plugged in, such as ``1-2.3``."""
    holder: str = ""
    """Program that has it open, where the system can say."""
    trouble: str = ""
    """What keeps it from being opened, and the mend."""

    def same_device(self, other: "PortInfo") -> bool:
        """Whether both are the same piece of hardware, as far as the system can tell.

        By the USB serial number; a device without one is known by where it is plugged in.
        """
        if not self.usb_id or self.usb_id != other.usb_id:
            return False
        if self.serial_number or other.serial_number:
            return self.serial_number == other.serial_number
        return bool(self.location) and self.location == other.location


Lister = Callable[[], list[PortInfo]]


def list_ports() -> list[PortInfo]:
    """Return the serial ports and USB instruments of this computer, by name."""
    found = [*_serial_ports(), *_usb_instruments(), *_hid_devices()]
    return sorted(found, key=lambda port: (port.kind, port.name))


def is_excluded(port: str, excluded: Iterable[str]) -> bool:
    """Whether the user wants ``port`` left alone; patterns such as ``/dev/ttyACM*`` serve too."""
    return any(port == pattern or fnmatch.fnmatchcase(port, pattern) for pattern in excluded)


def _serial_ports() -> Iterator[PortInfo]:
    from serial.tools import list_ports as system

    for port in system.comports():
        usb_id = f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None else ""
        described = port.description if port.description not in (None, "n/a") else ""
        yield PortInfo(
            name=port.device,
            kind="serial",
            description=plain(described or ""),
            usb_id=usb_id,
            serial_number=plain(port.serial_number or ""),
            location=plain(port.location or ""),
            holder=plain(holder_of(port.device) or ""),
        )


def _hid_devices() -> Iterator[PortInfo]:
    """HID devices that may be meters; none where the extra is missing."""
    seen: set[str] = set()
    for device in list_devices():
        name = name_of(device)
        if name in seen:
            continue
        seen.add(name)
        about = (device.get("manufacturer_string"), device.get("product_string"))
        yield PortInfo(
            name=name,
            kind="hid",
            description=plain(" ".join(part for part in about if part)),
            usb_id=f"{device['vendor_id']:04x}:{device['product_id']:04x}",
            serial_number=plain(device.get("serial_number") or ""),
        )


def _usb_instruments() -> Iterator[PortInfo]:
    """USB-TMC devices; none where pyusb or a USB library is missing."""
    try:
        import usb.core
        import usb.util
    except ImportError:
        return
    try:
        found = list(usb.core.find(find_all=True, backend=_backend(), custom_match=_is_instrument))
    except (usb.core.NoBackendError, usb.core.USBError, NotImplementedError):
        return
    for device in found:
        yield _usb_instrument(device)


def _usb_instrument(device: Any) -> PortInfo:
    import usb.core
    import usb.util

    serial, product, trouble = "", "", ""
    try:
        serial = device.serial_number or ""
        product = device.product or ""
    except (usb.core.USBError, ValueError, NotImplementedError):
        trouble = (
            f'no permission; put SUBSYSTEM=="usb", ATTR{{idVendor}}=="{device.idVendor:04x}", '
            'TAG+="uaccess" into /etc/udev/rules.d/70-meter.rules and plug it in again'
        )
    name = f"USB0::0x{device.idVendor:04X}::0x{device.idProduct:04X}::{plain(serial)}::INSTR"
    return PortInfo(
        name=name,
        kind="usb",
        description=plain(product),
        usb_id=f"{device.idVendor:04x}:{device.idProduct:04x}",
        serial_number=plain(serial),
        location=f"{device.bus}-{device.address}",
        trouble=trouble,
    )


def _backend() -> Any:
    """The USB library that comes as a package, where there is one; else the system's."""
    try:
        import libusb_package
    except ImportError:
        return None
    return libusb_package.get_libusb1_backend()


def _is_instrument(device: Any) -> bool:
    return any(
        interface.bInterfaceClass == _TMC_CLASS and interface.bInterfaceSubClass == _TMC_SUBCLASS
        for configuration in device
        for interface in configuration
    )
