"""Errors of the system and of its libraries, turned into sentences that name the mend.

One place for all links: the same trouble reads the same, whatever library met it.
"""

import errno
import os
import re
import sys
from pathlib import Path

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

_WINDOWS_PORT = re.compile(r"(\\\\\.\\)?COM\d+", re.IGNORECASE)


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
        raise MeterError(f"{name} is a directory, not a port; «meterlink meters» lists the ports")
    if path.is_file():
        raise MeterError(
            f"{name} is a file, not a port; «meterlink meters» lists the ports, "
            "«meterlink analyse» reads files"
        )


def cannot_open(name: str, fault: BaseException) -> MeterError:
    """Say why a device of the system could not be opened, and what helps."""
    if "://" in name:
        return MeterError(f"{name} cannot be reached; check the address and that its server runs")
    code = _errno_of(fault)
    if code in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
        return MeterError(
            f"there is no port {name}; plug the meter in, «meterlink meters» lists the ports"
        )
    if code == errno.EACCES and os.name == "posix":
        return MeterError(f"no permission to open {name}; {_permission_mend(name)}")
    if code in (errno.EACCES, errno.EBUSY, errno.EAGAIN):
        holder = holder_of(name)
        by = f" by {plain(holder)}" if holder else " by another program"
        return MeterError(f"{name} is in use{by}; close that first")
    if code in (None, errno.ENOTTY, errno.EINVAL):
        return MeterError(f"{name} is not a serial port; «meterlink meters» lists the ports")
    return MeterError(f"{name} cannot be opened: {os.strerror(code)}")


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


def _errno_of(fault: BaseException) -> int | None:
    if isinstance(fault, OSError) and fault.errno is not None:
        return fault.errno
    # On Windows pyserial puts the system's error into the text only.
    text = str(fault)
    if "PermissionError" in text:
        return errno.EBUSY
    if "FileNotFoundError" in text:
        return errno.ENOENT
    return None


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
            return f"join the group {group} with «sudo usermod -aG {group} $USER» and log in again"
    return "ask the owner of this computer for a udev rule that gives it to you"
