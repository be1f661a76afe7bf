"""Records what an unknown meter sends while its display stands still, and finds its line."""

import json
import time
from collections.abc import Sequence
from itertools import product
from pathlib import Path
from typing import Final

import msgspec

from drivers.frames.learning import Recording, plausibility
from drivers.links.link import LineSettings, Link
from drivers.links.transports import has_line
from meterlink.errors import MeterSilentError, UnreadableError
from meterlink.quantities.text import plain

_PAUSE_S: Final = 0.02
"""Bytes that come later than this are of another frame."""
_SECONDS: Final = 2.0
_TRY_S: Final = 1.2
_SPEEDS: Final = (2400, 9600, 19200, 4800, 1200, 115200, 38400, 57600, 600)
_FORMATS: Final = ((8, "none"), (7, "odd"), (7, "even"), (8, "even"))
_LEVELS: Final = ((True, False), (True, True), (False, True), (False, False))
LARGEST: Final = 4 << 20
"""Bytes of a file of recordings that are read."""


def record(link: Link, seconds: float = _SECONDS) -> tuple[bytes, ...]:
    """Return what comes in so many seconds, cut where there were pauses.

    Raises:
        PortLostError: the port went away.
    """
    bursts: list[bytes] = []
    until = time.monotonic() + seconds
    quiet = True
    while time.monotonic() < until:
        data = link.read(_PAUSE_S)
        if data and quiet:
            bursts.append(data)
        elif data:
            bursts[-1] += data
        quiet = not data
    return tuple(bursts)


def find_line(link: Link, display: str) -> LineSettings | None:
    """Set ``link`` to the line that the meter sends with, and return it; None where it has none.

    Levels of the control lines first, as nothing comes where a cable is not powered; then the
    settings at which the bytes look most like the display.

    Raises:
        MeterSilentError: nothing comes at any.
    """
    if not has_line(link.name):
        return None
    best: tuple[int, LineSettings] | None = None
    for dtr, rts in _LEVELS:
        for (bits, parity), baud in product(_FORMATS, _SPEEDS):
            line = LineSettings(baud=baud, data_bits=bits, parity=parity, dtr=dtr, rts=rts)  # type: ignore[arg-type]
            link.configure(line)
            link.discard()
            bursts = record(link, _TRY_S)
            if not bursts:
                break
            looks = plausibility(Recording(display, bursts))
            if best is None or looks > best[0]:
                best = looks, line
            if looks == 2:
                return line
        if best is not None:
            link.configure(best[1])
            return best[1]
    raise MeterSilentError(
        f"nothing comes from {plain(link.name)}; turn the meter's sending on and check the cable"
    )


def as_lines(recordings: Sequence[Recording], line: LineSettings | None) -> bytes:
    """Return recordings as JSON lines, to be worked on later."""
    rows = [{"line": msgspec.to_builtins(line)}] if line is not None else []
    rows += [
        {"display": one.display, "hex": [burst.hex(" ") for burst in one.bursts]}
        for one in recordings
    ]
    return "".join(json.dumps(row) + "\n" for row in rows).encode()


def load_recordings(path: Path) -> tuple[list[Recording], LineSettings | None]:
    """Return what ``as_lines`` gave, from a file.

    Raises:
        UnreadableError: missing, or something else.
    """
    shown = plain(str(path))
    try:
        with path.open("rb") as file:
            rows = [msgspec.json.decode(row) for row in file.read(LARGEST).splitlines() if row]
        line = next((msgspec.convert(r["line"], LineSettings) for r in rows if "line" in r), None)
        made = [
            Recording(str(row["display"]), tuple(bytes.fromhex(part) for part in row["hex"]))
            for row in rows
            if "display" in row
        ]
        if not made:
            raise ValueError("no display")
    except OSError as fault:
        raise UnreadableError(f"{shown} cannot be read: {fault.strerror}") from fault
    except (msgspec.MsgspecError, KeyError, TypeError, ValueError, AttributeError) as fault:
        raise UnreadableError(
            f"{shown} is no recording; its lines are such as "
            '{"display": "0.842 ohm", "hex": ["2b 30 38 34 32"]}'
        ) from fault
    return made, line
