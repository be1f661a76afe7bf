"""Finds the format of a meter that talks: tries line settings, scores formats, asks last."""

import time
from collections.abc import Sequence
from functools import partial
from itertools import product
from typing import Final

import msgspec

from drivers.clock import Clock
from drivers.frames.frame_format import FrameFormat
from drivers.frames.identify import Listener, Match, hears
from drivers.frames.recordings import Recording, parse_display
from drivers.frames.store import sample_bytes
from drivers.frames.unknown_digits import shows
from drivers.frames.unknown_frames import counts_its_bytes, usual_frame
from drivers.frames.unknown_lines import usual_line
from drivers.links.link import LineSettings, Link, decode_at_wrong_settings
from drivers.links.transports import has_line
from meterlink.errors import MeterSilentError
from meterlink.quantities.text import plain

BUDGET_S: Final = 3.0
"""Longest time for one port, seconds."""
_QUIET_S: Final = 1.0
"""How long the first setting is listened to before a port counts as silent. Any format at any
speed shows as some bytes, and the slowest meters send every second."""
_SLICE_S: Final = 0.05
"""A pause this long is between two frames, not within one."""
_SAMPLE: Final = 16
"""Bytes that are shown of what makes no sense."""
_ENOUGH: Final = 256
"""Bytes of nonsense that are looked at."""


def settings_to_try(wires: Sequence[FrameFormat]) -> list[LineSettings]:
    """Return the line settings of ``wires``, each once: every format's usual ones come first."""
    usual = [wire.settings[0] for wire in wires]
    others = [line for wire in wires for line in wire.settings[1:]]
    return list(dict.fromkeys([*usual, *others]))


class Heard:
    """What was heard, whether it made sense or not."""

    def __init__(self) -> None:
        self.count = 0
        """Bytes."""
        self.sample = b""
        """The first of those that came together."""
        self.bauds: list[int] = []
        """Speeds at which something was heard."""

    def take(self, count: int, burst: bytes, line: LineSettings | None) -> None:
        """Take what came at one setting."""
        self.count += count
        if burst and not self.sample:
            self.sample = burst[:_SAMPLE]
        if count and line is not None and line.baud not in self.bauds:
            self.bauds.append(line.baud)


def listen(
    link: Link,
    wires: Sequence[FrameFormat],
    clock: Clock,
    *,
    may_send: bool = True,
    has_line: bool = True,
    budget_s: float = BUDGET_S,
    notes: Heard | None = None,
) -> list[Match]:
    """Return what is heard on ``link``, the best match first; empty where nothing makes sense.

    Ends as soon as one format is sure; each match says with which line it was heard. Any format
    at any speed shows as some bytes, so where nothing comes it is not the speed: the control lines
    that may power the cable are set otherwise, and only where something comes are speeds and
    framings gone through, the likeliest first.

    Args:
        link: an open port.
        wires: candidates.
        clock: measures the time.
        may_send: whether commands of polled formats may be sent where the port is silent.
        has_line: whether the link has line settings; a socket has none.
        budget_s: longest time to take, seconds.
        notes: takes note of what was heard.

    Raises:
        PortLostError: the port went away.
    """
    until = clock.now() + budget_s
    notes = notes or Heard()
    talking = [wire for wire in wires if wire.description.poll is None]
    settings: list[LineSettings | None] = [*settings_to_try(talking)] if has_line else [None]
    heard: list[Match] = []
    levels = _levels(talking) if has_line else [(None, None)]
    quiet_s = min(_quiet(talking), budget_s / (len(levels) + 1))
    for dtr, rts in levels:
        left = list(dict.fromkeys(_with_levels(line, dtr, rts) for line in settings))
        talks = False
        while left and clock.now() < until:
            line = left.pop(0)
            quiet_at = until if talks else min(until, clock.now() + quiet_s)
            if may_send:
                _start(link, talking, line)
            listener, burst = _hear(link, wires, line, clock, quiet_at, until)
            notes.take(listener.heard_bytes, burst, line)
            talks = talks or listener.heard_bytes > 0
            heard += listener.ranking()
            if listener.best() is not None or not talks:
                break
            if line is not None:
                left.sort(key=partial(_unlikeness, wires, burst, line))
        if talks:
            break
    if not notes.count and may_send:
        heard += _ask(link, wires, clock, until + budget_s / 2, has_line=has_line)
    return sorted(heard, key=lambda match: -match.confidence)


def _with_levels(
    line: LineSettings | None, dtr: bool | None, rts: bool | None
) -> LineSettings | None:
    return None if line is None else msgspec.structs.replace(line, dtr=dtr, rts=rts)


def _levels(wires: Sequence[FrameFormat]) -> list[tuple[bool | None, bool | None]]:
    """Return the levels of the two control lines to try, those of the formats first."""
    told = [(wire.settings[0].dtr, wire.settings[0].rts) for wire in wires if wire.own]
    return list(dict.fromkeys([*told, (True, False), (True, True), (False, True), (False, False)]))


def _quiet(wires: Sequence[FrameFormat]) -> float:
    """How long to listen before a port counts as silent: as slow as the user's own formats are."""
    slowest = min((wire.description.rate.slowest_hz for wire in wires if wire.own), default=1.0)
    return max(_QUIET_S, 1.3 / slowest)


def _start(link: Link, wires: Sequence[FrameFormat], line: LineSettings | None) -> None:
    """Send what meters of this setting want to hear before they send."""
    for wire in wires:
        if wire.description.start is not None and (line is None or hears(line, wire)):
            if line is not None:
                link.configure(line)
            link.write(wire.start_bytes)


def _hear(
    link: Link,
    wires: Sequence[FrameFormat],
    line: LineSettings | None,
    clock: Clock,
    quiet_at: float,
    until: float,
) -> tuple[Listener, bytes]:
    """Listen with one line setting until it is sure, makes no sense, or stays silent.

    Returns what was made out, and the bytes that came last without a pause.

    Meters send a frame and pause. So a burst that began after a pause and ended with one was a
    whole frame; if no format could read it, it was not heard with the right setting.
    """
    if line is not None:
        link.configure(line)
        link.discard()
    listener = Listener(wires, line)
    longest = max((wire.longest for wire in wires if line is None or hears(line, wire)), default=1)
    began_whole = in_burst = False
    burst = b""
    while clock.now() < until:
        data = link.read(_SLICE_S)
        if data:
            listener.feed(data)
            burst = (burst if in_burst else b"") + data
            in_burst = True
            if listener.best() is not None:
                break
        elif in_burst and began_whole and line is not None and not listener.frames:
            break
        else:
            in_burst, began_whole = False, True
            listener.expect_whole()
            if not listener.heard_bytes and clock.now() >= quiet_at:
                break
        if line is not None and listener.heard_bytes > 3 * longest and not listener.frames:
            break
    return listener, burst[:_ENOUGH]


def _unlikeness(
    wires: Sequence[FrameFormat], burst: bytes, heard: LineSettings, sent: LineSettings | None
) -> tuple[int, int]:
    """Say how little ``burst`` is like what meters that send with ``sent`` are misheard as.

    It only settles which setting is tried next: the slowest meters leave time for few.
    """
    ways = []
    for wire in wires:
        if sent is None or not hears(sent, wire):
            continue
        sample = next(s for s in wire.description.samples if not s.refused)
        expected = decode_at_wrong_settings(sample_bytes(wire, sample), sent, heard)
        ways.append((abs(len(expected) - len(burst)), -len(set(expected) & set(burst))))
    return min(ways, default=(0, 0))


def _ask(
    link: Link, wires: Sequence[FrameFormat], clock: Clock, until: float, *, has_line: bool
) -> list[Match]:
    """Send the command of each polled format in turn; return what the first one to answer is."""
    for wire in wires:
        poll = wire.description.poll
        if poll is None:
            continue
        settings: Sequence[LineSettings | None] = wire.settings if has_line else (None,)
        for line in settings:
            if clock.now() >= until:
                return []
            if line is not None:
                link.configure(line)
            link.discard()
            listener = Listener([], line, asked=wire)
            link.write(poll.command.encode("latin-1"))
            ends = min(until, clock.now() + poll.timeout_s)
            while clock.now() < ends and listener.best() is None:
                listener.feed(link.read(_SLICE_S))
            if listener.best() is not None:
                return listener.ranking()
    return []


_PAUSE_S: Final = 0.02
"""Bytes that come later than this are of another frame."""


_SECONDS: Final = 2.0


_TRY_S: Final = 1.2


_SPEEDS: Final = (2400, 9600, 19200, 4800, 1200, 115200, 38400, 57600, 600)


_FORMATS: Final = ((8, "none"), (7, "odd"), (7, "even"), (8, "even"))


_LEVELS: Final = ((True, False), (True, True), (False, True), (False, False))


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


def plausibility(recording: Recording) -> int:
    """Say how much the bytes look like the display: 2 its digits are in them, 1 frames, 0 noise."""
    display = parse_display(recording.display)
    line = usual_line(recording)
    if line is not None:
        shown = f"{int(display.digits or 0)}".lstrip("0")
        return 2 if shown and shown in line[0].replace(".", "").replace(",", "") else 1
    frame = usual_frame(recording)
    if frame is None:
        return 0
    return 2 if counts_its_bytes(frame) or shows(frame, display) else 1
