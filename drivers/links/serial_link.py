"""A serial port as the system names it, or a pyserial URL such as ``rfc2217://``.

Where the port has a file descriptor we wait on it, so that a byte is delivered when it comes;
elsewhere (Windows, network serial) we wait in short blocking reads.
"""

import contextlib
import io
import os
import select
import sys
import time
from typing import Final

import serial

from drivers.links import port_errors
from drivers.links.link import LineSettings
from meterlink.errors import MeterError

_AT_ONCE: Final = 4096
_SHORT_S: Final = 0.05
_WRITE_S: Final = 2.0
_PARITY: Final = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "mark": serial.PARITY_MARK,
    "space": serial.PARITY_SPACE,
}


class SerialLink:
    """A ``Link`` over one serial port, opened for us alone."""

    whole = False

    def __init__(self, name: str, device: str, line: LineSettings | None = None) -> None:
        """Open ``device``; ``name`` is what the user typed.

        Raises:
            MeterError: no such port, no permission, in use, not a serial port.
        """
        self.name = name
        self._pseudo = _is_pseudo_terminal(device)
        if "://" not in device:
            port_errors.refuse_what_is_no_port(device)
        try:
            self._port = serial.serial_for_url(device, do_not_open=True)
            self._port.exclusive = True
            self._port.write_timeout = _WRITE_S
            self._port.timeout = _SHORT_S
            # Before opening: raising a control line and dropping it again resets some adapters.
            self._apply(line or LineSettings())
            self._port.open()
        except ValueError as fault:
            raise MeterError(
                f"{name} is not a port that can be opened; “meterlink meters” lists the ports"
            ) from fault
        except OSError as fault:
            raise port_errors.cannot_open(name, fault) from fault
        self._descriptor = self._find_descriptor()
        self._check_parity((line or LineSettings()).parity)

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except port_errors.PORT_ERRORS as fault:
            raise port_errors.lost(self.name) from fault

    def read(self, timeout_s: float) -> bytes:
        try:
            if self._descriptor is None:
                return self._read_in_steps(timeout_s)
            ready, _, _ = select.select([self._descriptor], [], [], max(0.0, timeout_s))
            return bytes(self._port.read(_AT_ONCE)) if ready else b""
        except port_errors.PORT_ERRORS as fault:
            raise port_errors.lost(self.name) from fault

    def discard(self) -> None:
        # Not reset_input_buffer: on an unplugged port that raises what is no OSError. Once
        # round, as a meter that never stops sending must not keep us here.
        self.read(0)

    def configure(self, line: LineSettings) -> None:
        try:
            self._apply(line)
            self._check_parity(line.parity)
            # A pseudo-terminal, and many a network port, has no such lines.
            with contextlib.suppress(OSError):
                if line.dtr is not None:
                    self._port.dtr = line.dtr
                if line.rts is not None:
                    self._port.rts = line.rts
        except port_errors.PORT_ERRORS as fault:
            raise MeterError(
                f"{self.name} cannot be set to {line.baud} baud, {line.data_bits} data bits, "
                f"{line.parity} parity, {line.stop_bits} stop bits"
            ) from fault

    def close(self) -> None:
        with contextlib.suppress(*port_errors.PORT_ERRORS):
            self._port.close()

    def _apply(self, line: LineSettings) -> None:
        self._port.baudrate = line.baud
        if self._pseudo:
            return
        self._port.bytesize = line.data_bits
        self._port.parity = _PARITY[line.parity]
        self._port.stopbits = line.stop_bits
        if line.dtr is not None:
            self._port.dtr = line.dtr
        if line.rts is not None:
            self._port.rts = line.rts

    def _check_parity(self, parity: str) -> None:
        """Let the system check what the meter's parity bit says, where it can.

        pyserial turns that off, so that a damaged byte passes as a sound one. With it on, a zero
        stands in its place, which no format takes for a digit. Set after every change of the
        line, as each of them turns it off again.
        """
        if sys.platform != "win32" and self._descriptor is not None:
            import termios

            with contextlib.suppress(termios.error):
                settings = termios.tcgetattr(self._descriptor)
                settings[0] &= ~(termios.INPCK | termios.IGNPAR | termios.PARMRK)
                if parity != "none":
                    settings[0] |= termios.INPCK
                termios.tcsetattr(self._descriptor, termios.TCSANOW, settings)

    def _find_descriptor(self) -> int | None:
        try:
            descriptor = self._port.fileno()
        except (io.UnsupportedOperation, AttributeError):
            return None
        self._port.timeout = 0  # the wait is ours
        return int(descriptor)

    def _read_in_steps(self, timeout_s: float) -> bytes:
        until = time.monotonic() + timeout_s
        while True:
            waiting = self._port.in_waiting
            if waiting:
                return bytes(self._port.read(min(waiting, _AT_ONCE)))
            if time.monotonic() >= until:
                return b""
            first = bytes(self._port.read(1))
            if first:
                return first + bytes(self._port.read(min(self._port.in_waiting, _AT_ONCE)))


def _is_pseudo_terminal(device: str) -> bool:
    """Whether ``device`` is a pseudo-terminal: whole bytes only, and no control lines."""
    if os.name != "posix" or "://" in device:
        return False
    return os.path.realpath(device).startswith(("/dev/pts/", "/dev/ttys"))
