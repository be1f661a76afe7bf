"""The simulated bench, ready to be plugged in: engine, hands, meter, and a port to reach it by."""

import threading
from typing import Self

import numpy as np

from drivers.clock import Clock
from drivers.simulated.hands import Hands
from drivers.simulated.lent import Lender, identity_of
from drivers.simulated.meter import VirtualMeter
from drivers.simulated.pace import VirtualClock, pace_of
from drivers.simulated.personality import ScpiPersonality
from drivers.simulated.scenario import Scenario
from drivers.simulated.serve import PtyServer, TcpServer
from drivers.simulated.stream_faults import FaultInjector, LineFault
from drivers.simulated.world import World
from meterlink.closing import Closing
from meterlink.errors import MeterError


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
