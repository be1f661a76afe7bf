"""Pseudo-terminals of this computer, where its system has them: Windows has none."""

import os
import sys

from meterlink.errors import MeterError


def open_raw() -> tuple[int, int, str]:
    """Open one that changes no byte; return our end, the reader's end and its name.

    Raises:
        MeterError: this system has no pseudo-terminals.
    """
    if sys.platform != "win32":
        import pty
        import tty

        near, far = pty.openpty()
        tty.setraw(far)
        os.set_blocking(near, False)
        return near, far, os.ttyname(far)
    else:  # noqa: RET505 - so that each system's checker sees its own branch alone
        raise MeterError("this system has no pseudo-terminals; use a TCP port")


def reader_speed(near: int) -> int | None:
    """Return the speed that the reader has set, baud; None where that cannot be known."""
    speed = None
    if sys.platform != "win32":
        import termios

        code = termios.tcgetattr(near)[5]
        speeds = {
            value: int(name[1:])
            for name, value in vars(termios).items()
            if name[0] == "B" and name[1:].isdigit()
        }
        speed = speeds.get(code)
    return speed


def unread(far: int) -> int:
    """Return how many bytes lie at the reader's end that nobody has read yet."""
    count = 0
    if sys.platform != "win32":
        import fcntl
        import termios

        count = int.from_bytes(fcntl.ioctl(far, termios.FIONREAD, b"\0" * 4), sys.byteorder)
    return count
