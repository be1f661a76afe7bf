"""Finds out what is at a port: asks who is there, listens where something talks.

A meter that speaks SCPI answers ``*IDN?``; one that only talks is known by its frames. Asking
comes first, as an answer is certain and quick; what is heard meanwhile says whether to listen.
"""

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import Final, NamedTuple

import msgspec

from drivers.clock import MonotonicClock
from drivers.frames.frame_format import FrameFormat
from drivers.frames.identify import SURE, Match
from drivers.frames.line_search import Heard, listen
from drivers.frames.store import load_all
from drivers.links.hid_link import HidLink
from drivers.links.link import LineSettings, Link
from drivers.links.transports import Visa, has_line, open_link
from drivers.ports import is_excluded
from drivers.scpi.conversation import Conversation
from drivers.scpi.status import parse_identity
from meterlink.errors import MeterError, MeterlinkError, PortLostError
from meterlink.quantities.text import plain
from meterlink.source import Identity

SCPI: Final = "scpi"
"""The name for a meter that is asked, where others have that of a frame format."""

SPEEDS: Final = (9600, 115200, 19200, 38400, 57600, 4800)
"""Speeds at which a serial meter is asked, the usual ones first, baud."""

_SIDE_BY_SIDE: Final = 16


class Patience(NamedTuple):
    """How long to wait, seconds."""

    first: float
    """For an answer at the first speed."""
    other: float
    """At each other speed."""
    listening: float
    """For frames that make sense, at all line levels, speeds and framings together."""


BRISK: Final = Patience(first=0.8, other=0.25, listening=5.0)
"""For ports that may be anything: about 8 s in all at the worst, several ports side by side."""
PATIENT: Final = Patience(first=3.0, other=0.5, listening=10.0)
"""For a port that the user named: twice as long."""


class FoundMeter(msgspec.Struct, frozen=True, kw_only=True):
    """What is at a port."""

    port: str
    wire: str = ""
    """``scpi``, the name of a description of frames, or empty where nothing was made out."""
    identity: Identity | None = None
    """What it says it is; None where it cannot say."""
    confidence: float = 0.0
    """How sure that is, 0 to 1."""
    says: str = ""
    """What was found, or why nothing was, as one plain sentence."""
    heard: int = 0
    """Bytes that came altogether."""
    end: str = "\n"
    """What ends a command that it takes."""

    @property
    def sure(self) -> bool:
        """Whether it may be used without asking."""
        return self.confidence >= SURE


def probe_all(ports: Sequence[str], *, excluded: Iterable[str] = ()) -> list[FoundMeter]:
    """Probe ``ports`` side by side; return what was found, in the same order.

    Ports that match ``excluded`` are neither opened nor sent anything.
    """
    left_alone = tuple(excluded)

    def one(port: str) -> FoundMeter:
        if is_excluded(port, left_alone):
            return FoundMeter(port=port, says="left alone, as you asked")
        return probe(port)

    if not ports:
        return []
    with ThreadPoolExecutor(max_workers=min(_SIDE_BY_SIDE, len(ports))) as pool:
        return list(pool.map(one, ports))


def probe(port: str, *, visa: Visa | None = None, patience: Patience = BRISK) -> FoundMeter:
    """Open ``port``, find out what is there, close it; ``patience`` says how long that may take.

    What cannot be opened is no error here: ``says`` tells why.
    """
    try:
        link = open_link(port, visa=visa)
    except MeterlinkError as fault:
        return FoundMeter(port=port, says=str(fault))
    try:
        return find_out(link, patience)
    except MeterError as fault:
        return FoundMeter(port=port, says=str(fault))
    finally:
        link.close()


def find_out(link: Link, patience: Patience = PATIENT) -> FoundMeter:
    """Return what is at ``link``, which is left set to the line that it was found with.

    Raises:
        PortLostError: the port went away.
    """
    if isinstance(link, HidLink):
        return _find_hid(link, patience)
    asked = ask(link, patience)
    if asked.wire or link.whole:
        return asked
    serial = has_line(link.name)
    if serial:
        link.configure(LineSettings())
    notes = Heard()
    matches = listen(
        link,
        _wires(),
        MonotonicClock(),
        has_line=serial,
        budget_s=patience.listening,
        notes=notes,
    )
    if matches:
        return _heard(link, matches)
    if not notes.count:
        return asked
    return FoundMeter(port=link.name, heard=notes.count, says=_unknown(link, notes))


def _find_hid(link: HidLink, patience: Patience) -> FoundMeter:
    """Listen by the descriptions that name this device; to another nothing is sent."""
    ids = link.name.removeprefix("hid://").partition("/")[0].lower()
    for wire in _wires():
        hid = wire.description.hid
        if hid is None or f"{hid.vendor}:{hid.product}".lower() != ids:
            continue
        link.use(hid)
        notes = Heard()
        matches = listen(
            link,
            [wire],
            MonotonicClock(),
            has_line=False,
            may_send=False,
            budget_s=patience.listening,
            notes=notes,
        )
        if matches:
            return _heard(link, matches)
        if notes.count:
            return FoundMeter(port=link.name, heard=notes.count, says=_unknown(link, notes))
        return FoundMeter(
            port=link.name, says=f"{plain(link.name)} sends nothing; is the meter on?"
        )
    return FoundMeter(
        port=link.name,
        says="an HID device that no description names; put its numbers into [hid] of one",
    )


def _unknown(link: Link, notes: Heard) -> str:
    """Say that bytes came which nothing here can read."""
    at = f" at {', '.join(map(str, notes.bauds))} baud" if notes.bauds else ""
    return (
        f"{notes.count} bytes came from {plain(link.name)}, such as “{notes.sample.hex(' ')}”, "
        f"that fit no format known here{at}; wrong speed? “meterlink frames new” describes an "
        "unknown meter"
    )


def ask(link: Link, patience: Patience = PATIENT) -> FoundMeter:
    """Ask ``*IDN?``; at other speeds only where nothing at all was heard.

    Raises:
        PortLostError: the port went away.
    """
    serial = has_line(link.name)
    heard = 0
    says = f"nothing answers at {plain(link.name)}; check that the meter is on"
    for baud in SPEEDS if serial else (0,):
        line = LineSettings(baud=baud) if serial else None
        if line is not None:
            link.configure(line)
        talk = Conversation(link)
        usual = baud in (0, SPEEDS[0])
        try:
            greeting = talk.greet(
                patience.first if usual else patience.other, otherwise_ended=usual
            )
        except PortLostError:
            raise
        except MeterError as fault:
            greeting, says = None, str(fault)
        if greeting is not None:
            identity = parse_identity(greeting, link.name)
            return FoundMeter(
                port=link.name,
                wire=SCPI,
                identity=identity,
                confidence=1.0,
                says=f"answers as {identity}",
                end=talk.end,
            )
        if not talk.heard_bytes and baud in (0, SPEEDS[0]) and talk.tells_entries():
            return FoundMeter(
                port=link.name,
                wire=SCPI,
                identity=Identity(port=link.name),
                confidence=1.0,
                says="answers as a meter that speaks SCPI and does not say who it is",
            )
        heard += talk.heard_bytes
        if talk.heard_bytes:
            break
    return FoundMeter(port=link.name, says=says, heard=heard)


@cache
def _wires() -> tuple[FrameFormat, ...]:
    """Every usable description; what is wrong with others, ``meterlink frames check`` says."""
    wires, _ = load_all()
    return tuple(wires)


def _heard(link: Link, matches: Sequence[Match]) -> FoundMeter:
    best = matches[0]
    sureness = f"{best.confidence:.0%} sure" if best.confidence < 1 else "sure"
    rivals = ", or ".join(match.wire.name for match in matches[1:3] if match.confidence > 0.05)
    perhaps = f"; it could also be {rivals}" if rivals and best.confidence < SURE else ""
    return FoundMeter(
        port=link.name,
        wire=best.wire.name,
        identity=Identity(model=plain(best.wire.description.title), port=link.name),
        confidence=best.confidence,
        says=f"sends frames in the format {best.wire.name} ({sureness}){perhaps}",
    )
