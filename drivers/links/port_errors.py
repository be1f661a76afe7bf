"""Errors of the system and of its libraries, turned into sentences that name the mend.

One place for all links: the same trouble reads the same, whatever library met it.
"""

import errno
import os
import re
import sys
from enum import Enum
from pathlib import Path
from typing import Final

from meterlink.errors import MeterError, PortLostError
from meterlink.quantities.text import plain

_PROCESSES = Path("/proc")


def holder_of(device: str) -> str | None:
    """Return "NAME (process 123)" of a program that has ``device`` open, or None.

    Only systems with a process file system tell, and only of processes that we may look into.
    """
    if not (_PROCESSES / "self" / "fd").is_dir():
        return None
    try:
        target = Path(device).resolve(strict=True)
    except OSError:
        return None
    for process in _PROCESSES.iterdir():
        if process.name.isdigit() and _holds(process, target):
            return f"{_name_of(process)} (process {process.name})"
    return None


def _holds(process: Path, target: Path) -> bool:
    try:
        return any(descriptor.readlink() == target for descriptor in (process / "fd").iterdir())
    except OSError:  # ended meanwhile, or not ours to look into
        return False


def _name_of(process: Path) -> str:
    try:
        return (process / "comm").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return "a program"


_LINE_ERROR: tuple[type[Exception], ...] = ()
if sys.platform != "win32":
    from termios import error as _termios_error  # no OSError, though it carries an errno

    _LINE_ERROR = (_termios_error,)

PORT_ERRORS: tuple[type[Exception], ...] = (OSError, TypeError, ValueError, *_LINE_ERROR)
"""What a serial library raises on a port that went away, or was closed under its reader."""

_WINDOWS_PORT: Final = re.compile(r"(?:\\\\\.\\)?(COM\d+):?", re.IGNORECASE)
_CALL_IN: Final = "/dev/tty."
_CALL_OUT: Final = "/dev/cu."


def device_name(port: str, system: str = sys.platform) -> str:
    """Return the name under which the system lists the serial device ``port``.

    On Windows ``\\\\.\\COM12``, ``com12`` and ``COM12:`` are COM12. On macOS a port has two names;
    the one that begins with ``tty.`` waits for a carrier, which no meter gives: the other is taken.
    """
    if system == "win32":
        found = _WINDOWS_PORT.fullmatch(port)
        return found[1].upper() if found else port
    if system == "darwin" and port.startswith(_CALL_IN):
        return _CALL_OUT + port.removeprefix(_CALL_IN)
    return port


def lost(name: str) -> PortLostError:
    """The port was open and is gone."""
    return PortLostError(f"{name} no longer answers; plug the meter in again")


def refuse_what_is_no_port(name: str) -> None:
    """Raise ``MeterError`` where ``name`` is a file or a directory.

    Asked before opening, as a serial library would open a file and fail in its own words.
    """
    if _WINDOWS_PORT.fullmatch(name):
        return
    path = Path(name)
    if path.is_dir():
        raise MeterError(f"{name} is a directory, not a port; “meterlink meters” lists the ports")
    if path.is_file():
        raise MeterError(
            f"{name} is a file, not a port; “meterlink meters” lists the ports, "
            "“meterlink analyse” reads files"
        )


def cannot_open(name: str, fault: BaseException) -> MeterError:
    """Say why a device of the system could not be opened, and what helps."""
    if "://" in name:
        return MeterError(f"{name} cannot be reached; check the address and that its server runs")
    code, windows = codes_of(fault)
    why = why_not_opened(code, windows)
    if why is Trouble.NO_PERMISSION:
        return MeterError(f"no permission to open {name}; {_permission_mend(name)}")
    if why is Trouble.IN_USE:
        return MeterError(
            f"{name} is in use by {plain(holder_of(name) or 'another program')}; close that first"
        )
    if why is Trouble.OTHER and code is not None:
        return MeterError(f"{name} cannot be opened: {os.strerror(code)}")
    return MeterError(_SAYS[why].format(name=name))


class Trouble(Enum):
    """What keeps a port of the system from being opened."""

    MISSING = "missing"
    NO_PERMISSION = "no permission"
    IN_USE = "in use"
    NO_PORT = "no serial port"
    STUCK = "stuck"
    OTHER = "other"


_SAYS: Final = {
    Trouble.MISSING: (
        "there is no port {name}; plug the meter in, “meterlink meters” lists the ports"
    ),
    Trouble.NO_PORT: "{name} is not a serial port; “meterlink meters” lists the ports",
    Trouble.STUCK: "the adapter of {name} does not answer; unplug it, wait a moment, plug it in",
    Trouble.OTHER: "{name} cannot be opened; unplug it and plug it in again",
}

_BY_WINDOWS: Final = {
    2: Trouble.MISSING,  # ERROR_FILE_NOT_FOUND
    3: Trouble.MISSING,  # ERROR_PATH_NOT_FOUND
    5: Trouble.IN_USE,  # ERROR_ACCESS_DENIED: a serial port has no owner there, only one user
    31: Trouble.STUCK,  # ERROR_GEN_FAILURE
    32: Trouble.IN_USE,  # ERROR_SHARING_VIOLATION
    55: Trouble.MISSING,  # ERROR_DEV_NOT_EXIST
    87: Trouble.NO_PORT,  # ERROR_INVALID_PARAMETER
    121: Trouble.STUCK,  # ERROR_SEM_TIMEOUT
    123: Trouble.NO_PORT,  # ERROR_INVALID_NAME
    170: Trouble.IN_USE,  # ERROR_BUSY
    433: Trouble.MISSING,  # ERROR_NO_SUCH_DEVICE
    1167: Trouble.MISSING,  # ERROR_DEVICE_NOT_CONNECTED
}
"""Microsoft's published list of system error codes."""

_BY_ERRNO: Final = {
    errno.ENOENT: Trouble.MISSING,
    errno.ENXIO: Trouble.MISSING,
    errno.ENODEV: Trouble.MISSING,
    errno.EACCES: Trouble.NO_PERMISSION,
    errno.EPERM: Trouble.NO_PERMISSION,
    errno.EBUSY: Trouble.IN_USE,
    errno.EAGAIN: Trouble.IN_USE,
    errno.ENOTTY: Trouble.NO_PORT,
    errno.EINVAL: Trouble.NO_PORT,
    None: Trouble.NO_PORT,
}
"""POSIX error numbers, as Linux and macOS give them for a device."""


def why_not_opened(code: int | None, windows: int | None = None) -> Trouble:
    """Return what an error means that opening a port brought.

    Args:
        code: the error number of POSIX; None where there is none.
        windows: that of Windows, which then decides.
    """
    if windows is not None:
        return _BY_WINDOWS.get(windows, Trouble.OTHER)
    return _BY_ERRNO.get(code, Trouble.OTHER)


_IN_TEXT: Final = re.compile(r"\w*Error\((\d+), .*?(?:, None, (\d+))?\)\s*$", re.DOTALL)


def codes_of(fault: BaseException) -> tuple[int | None, int | None]:
    """Return the error numbers of POSIX and of Windows in ``fault``; None for none.

    On Windows the serial library puts the system's own error into its text only.
    """
    windows = getattr(fault, "winerror", None)
    if isinstance(fault, OSError) and fault.errno is not None:
        return fault.errno, windows
    found = _IN_TEXT.search(str(fault))
    if found is None:
        return None, windows
    return int(found[1]), int(found[2]) if found[2] else windows


def cannot_connect(name: str, fault: OSError) -> MeterError:
    """Say why a network address could not be reached, and what helps."""
    if isinstance(fault, ConnectionRefusedError):
        why = "nothing listens there; check the port number and that the meter's network is on"
    elif isinstance(fault, TimeoutError):
        why = "no answer; check the address, the cable and the meter's network settings"
    elif fault.errno in (errno.EHOSTUNREACH, errno.ENETUNREACH, errno.EHOSTDOWN):
        why = "there is no way to that address; check the cable and this computer's network"
    else:
        why = "the name or address is not known; check how it is written"
    return MeterError(f"{name} cannot be reached: {why}")


def _permission_mend(name: str) -> str:
    """The group whose members may open the device, where the system has one."""
    if sys.platform != "win32":
        import grp

        try:
            status = Path(name).stat()
            group = grp.getgrgid(status.st_gid).gr_name
        except (OSError, KeyError):
            return "ask the owner of this computer for it"
        if status.st_mode & 0o060 == 0o060 and group != "root":
            return f"join the group {group} with “sudo usermod -aG {group} $USER” and log in again"
    return "ask the owner of this computer for a udev rule that gives it to you"
