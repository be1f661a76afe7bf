"""The simulated bench, ready to be plugged in: engine, hands, meter, and a port to reach it by.

Its hands can be lent to a bench in another process that reads the simulated meter. What comes from
the meter is readings alone, so hands at the far end could not hear what the bench asks. The meter
therefore names a second port of this computer in its identity, in the build part of its firmware's
version (``0.1.0+hands.54321``). A bench that finds it there connects, and then says a line for each
reading: a JSON object with the events since the last line. Each line gets one back: a JSON array of
what the hands say. Where nobody connects, the hands play their steps in turn.
"""

import re
import socket
import threading
from collections.abc import Sequence
from enum import Enum
from typing import Final, Self

import msgspec
import numpy as np

from drivers.clock import Clock, VirtualClock, pace_of
from drivers.simulated.hands import Hands
from drivers.simulated.meter import VirtualMeter
from drivers.simulated.personality import MAKER, MODEL, ScpiPersonality, identity_of
from drivers.simulated.scenario import Scenario
from drivers.simulated.serve import PtyServer, TcpServer
from drivers.simulated.world import World
from meterlink.card import BenchEvent
from meterlink.closing import Closing
from meterlink.commands import AnyCommand
from meterlink.errors import MeterError
from meterlink.source import Identity

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


class LineFaults(Enum):
    """A fault of the line or of the meter's answering."""

    STALL = "stall"
    """Nothing is answered."""
    HALF = "half"
    """Half an answer, and then nothing."""
    RUBBISH = "rubbish"
    """Control bytes in place of an answer."""
    NOT_A_NUMBER = "not-a-number"
    """The standard's not-a-number in place of a reading."""
    DROP = "drop"
    """The line goes down instead of an answer."""


class LineFault(msgspec.Struct, frozen=True, kw_only=True):
    """A fault that sets in after so many answers and lasts for so many."""

    what: LineFaults
    after: int = 0
    times: int = 1


class FaultInjector:
    """Takes answers as they should go out and gives them back as they will. None: drop the line."""

    RUBBISH = b"\x00\x1b[2J\xff\xfe\x07garbage\r\n"

    def __init__(self) -> None:
        self._trouble: LineFault | None = None
        self._answers = 0

    def make(self, trouble: LineFault | None) -> None:
        """From now on count answers, and spoil those that ``trouble`` says; None for peace."""
        self._trouble, self._answers = trouble, 0

    def spoil(self, answer: bytes) -> bytes | None:
        """Return what goes out instead of ``answer``."""
        trouble = self._trouble
        if trouble is None or not answer:
            return answer
        self._answers += 1
        since = self._answers - trouble.after
        if since < 1:
            return answer
        if since >= trouble.times:
            self._trouble = None
        match trouble.what:
            case LineFaults.STALL:
                return b""
            case LineFaults.HALF:
                return answer[: max(1, len(answer) // 2)]
            case LineFaults.RUBBISH:
                return self.RUBBISH
            case LineFaults.NOT_A_NUMBER:
                return b"+9.91000000E+37\n"
            case LineFaults.DROP:
                return None


class SimulatedBench(Closing):
    """A bench with a meter on a port of this computer, from ``with`` to its end.

    With a ``VirtualClock`` every reading takes no time at all, and the run is the same to the last
    bit for the same scenario, seed and questions asked. With any other clock it takes the time
    that it would.
    """

    def __init__(
        self,
        scenario: Scenario,
        *,
        seed: int = 1,
        clock: Clock | None = None,
        tcp_port: int = 0,
        lend: bool = False,
    ) -> None:
        """Set the bench up; nothing is served yet.

        ``lend``: let a bench in another process have the hands, see ``lent``; until one does,
        they play their steps in turn for whoever reads.

        Raises:
            MeterError: on entering, where ``tcp_port`` is taken.
        """
        self.scenario = scenario
        self.clock: Clock = VirtualClock() if clock is None else clock
        self._tcp_port = tcp_port
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._trouble = FaultInjector()
        for_world, for_hands, for_meter = np.random.default_rng(seed).spawn(3)
        self.world = World(
            scenario.engine,
            scenario.condition(),
            for_world,
            ambient_c=float(scenario.bench.ambient),
            cooling_s=float(scenario.bench.cooling),
            leads=float(scenario.bench.leads),
            touchiness=scenario.touch,
        )
        self.hands = Hands(self.world, scenario.hands, for_hands)
        self.meter = VirtualMeter(
            self.world, pace_of(self.clock, self._stop), for_meter, scenario.meter
        )
        self.meter.act = self.hands.advance
        self._lender = Lender(self.hands) if lend else None
        self._lent: TcpServer | None = None
        self._scpi = ScpiPersonality(self.meter, scenario.scpi)
        self._tcp: TcpServer | None = None
        self._pty: PtyServer | None = None

    def __enter__(self) -> Self:
        if self._lender is not None:
            self._lent = TcpServer(self._lender.talk, self._lender.hung_up)
            self._scpi = ScpiPersonality(
                self.meter, self.scenario.scpi, identity_of(self._lent.port)
            )
        try:
            self._tcp = TcpServer(self._talk, self._hung_up, self._tcp_port)
        except MeterError:
            self.close()
            raise
        return self

    @property
    def tcp_port(self) -> int:
        """The port on 127.0.0.1."""
        if self._tcp is None:
            raise RuntimeError("the simulated bench is not entered")
        return self._tcp.port

    @property
    def port(self) -> str:
        """The VISA resource string of the TCP port, as ``--port`` takes it."""
        return f"TCPIP::127.0.0.1::{self.tcp_port}::SOCKET"

    def serial_device(self) -> str:
        """Serve the same meter on a pseudo-terminal too; return the device's name.

        Raises:
            MeterError: this system has no pseudo-terminals.
        """
        if self._pty is None:
            self._pty = PtyServer(self._talk, self._hung_up)
        return self._pty.device

    def trouble(self, trouble: LineFault | None) -> None:
        """Let the line or the answers go wrong; None for peace."""
        with self._lock:
            self._trouble.make(trouble)

    def close(self) -> None:
        """Stop serving and free every port. Safe to call twice."""
        self._stop.set()
        for server in (self._tcp, self._pty, self._lent):
            if server is not None:
                server.close()

    def _talk(self, data: bytes) -> bytes | None:
        with self._lock:
            return self._trouble.spoil(self._scpi.feed(data))

    def _hung_up(self) -> None:
        with self._lock:
            self._scpi.forget_input()
