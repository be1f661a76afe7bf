"""The simulated hands, lent to a bench in another process that reads the simulated meter.

A wire from the meter carries readings alone, so hands at its far end could not hear what the bench
asks. The meter therefore names a second port of this computer in its identity, in the build part
of its firmware's version (``0.1.0+hands.54321``). A bench that finds it there connects, and then
says a line for each reading: a JSON object with the events since the last line. Each line gets one
back: a JSON array of what the hands say. Where nobody connects, the hands play their steps in
turn.
"""

import re
import socket
from collections.abc import Sequence
from typing import Final

import msgspec

from drivers.simulated.hands import Hands
from meterlink import __version__
from meterlink.card import BenchEvent
from meterlink.closing import Closing
from meterlink.commands import AnyCommand
from meterlink.source import Identity

MAKER: Final = "meterlink"
MODEL: Final = "simulated bench meter"
_HOST: Final = "127.0.0.1"
_PATIENCE_S: Final = 1.0
_LONGEST_LINE: Final = 1 << 20
_PORT: Final = re.compile(r"\+hands\.(\d{1,5})$", re.ASCII)


class Greeting(msgspec.Struct, frozen=True, kw_only=True):
    """The first thing that a bench says."""

    steps: Sequence[str]
    """All steps of its card."""
    cautions: Sequence[str] = ()
    """Those of them that are cautions."""
    person: bool = True
    """Whether somebody is there to answer: cautions, and what the script knows nothing of, are
    left to a person."""


class Line(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One line from the bench."""

    greeting: Greeting | None = None
    events: Sequence[msgspec.Raw] = ()


_LINE: Final = msgspec.json.Decoder(Line)
_EVENT: Final = msgspec.json.Decoder(BenchEvent)
_SAID: Final = msgspec.json.Decoder(list[AnyCommand])


def identity_of(port: int | None) -> str:
    """Return what the simulated bench answers to ``*IDN?``; ``port``: where its hands are lent."""
    return f"{MAKER},{MODEL},0,{__version__}" + ("" if port is None else f"+hands.{port}")


def is_simulated(meter: Identity) -> bool:
    """Return whether this is the meter of a simulated bench."""
    return (meter.maker, meter.model) == (MAKER, MODEL)


def port_of(meter: Identity) -> int | None:
    """Return the port of this computer where the meter's hands are lent; None for none."""
    found = _PORT.search(meter.firmware) if is_simulated(meter) else None
    return None if found is None or not 0 < int(found[1]) < 65536 else int(found[1])


class Lender:
    """The hands' end: takes lines, gives lines, for one bench after another."""

    def __init__(self, hands: Hands) -> None:
        self._hands = hands
        self._rest = b""
        hands.play_alone()

    def talk(self, data: bytes) -> bytes | None:
        """Take what came in, return what goes out; None to hang up on what is no bench."""
        *lines, self._rest = (self._rest + data).split(b"\n")
        if len(self._rest) > _LONGEST_LINE:
            return None
        try:
            return b"".join(self._answer(_LINE.decode(line)) for line in lines)
        except (msgspec.DecodeError, UnicodeDecodeError):
            return None

    def hung_up(self) -> None:
        """The bench is gone; whoever reads next is somebody else."""
        self._rest = b""
        self._hands.play_alone()

    def _answer(self, line: Line) -> bytes:
        greeting = line.greeting
        if greeting is not None:
            known = self._hands.steps
            others = [step for step in greeting.steps if step not in known]
            self._hands.serve(*([*greeting.cautions, *others] if greeting.person else ()))
        for raw in line.events:
            try:
                self._hands.notice(_EVENT.decode(raw))
            except msgspec.DecodeError:
                continue  # from another version of the bench; the hands make do without it
        return msgspec.json.encode(self._hands.take_said()) + b"\n"


class BorrowedHands(Closing):
    """The bench's end. Hands that do not answer are done without: nothing here ever raises."""

    def __init__(self, port: int, greeting: Greeting) -> None:
        """Connect and greet; ``there`` says whether anybody answers."""
        self._rest = b""
        self._line: socket.socket | None = None
        try:
            self._line = socket.create_connection((_HOST, port), _PATIENCE_S)
            self._line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        except OSError:
            return
        self._exchange(Line(greeting=greeting))

    @property
    def there(self) -> bool:
        """Whether the hands still answer."""
        return self._line is not None

    def hear(self, events: Sequence[BenchEvent]) -> list[AnyCommand]:
        """Tell the hands what the bench says; return what they say."""
        return self._exchange(Line(events=[msgspec.Raw(msgspec.json.encode(e)) for e in events]))

    def close(self) -> None:
        """Let go of the hands. Safe to call twice."""
        line, self._line = self._line, None
        if line is not None:
            line.close()

    def _exchange(self, line: Line) -> list[AnyCommand]:
        if self._line is None:
            return []
        try:
            self._line.sendall(msgspec.json.encode(line) + b"\n")
            while b"\n" not in self._rest:
                piece = self._line.recv(65536)
                if not piece or len(self._rest) > _LONGEST_LINE:
                    raise ConnectionResetError
                self._rest += piece
            said, _, self._rest = self._rest.partition(b"\n")
            return _SAID.decode(said)
        except (OSError, msgspec.DecodeError, UnicodeDecodeError):
            self.close()
            return []
