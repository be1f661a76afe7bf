"""A pair of hands over the virtual engine, moved in the meter's time, and the clock they share.

The clock stands still until the meter reads. It is written into a file, too, so that a program in
another process lives in the same time: a minute at the bench takes a second or two, and nothing
that happens on it depends on how busy the computer is.
"""

import heapq
import mmap
import struct
import threading
import time
from collections.abc import Callable
from math import inf
from pathlib import Path
from typing import Final

from drivers.clock import VirtualClock
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.world import MeterInput, World
from meterlink.circuit.wiring import OTHER_TIP, at_sockets

_DOUBLE: Final = struct.Struct("d")


class Hurried(VirtualClock):
    """Time of the bench: advanced by each reading, ``speed`` times as fast as it would pass."""

    def __init__(self, file: Path, speed: float = 40.0) -> None:
        super().__init__()
        self.speed = speed
        file.write_bytes(bytes(_DOUBLE.size))
        with file.open("r+b") as opened:
            self._shared = mmap.mmap(opened.fileno(), _DOUBLE.size)

    def advance(self, seconds: float) -> float:
        now = super().advance(seconds)
        _DOUBLE.pack_into(self._shared, 0, now)
        if seconds > 0.001:
            time.sleep(seconds / self.speed)
        return now


class Borrowed:
    """The same time, seen from another process."""

    def __init__(self, file: Path) -> None:
        with file.open("rb") as opened:
            self._shared = mmap.mmap(opened.fileno(), _DOUBLE.size, access=mmap.ACCESS_READ)

    def now(self) -> float:
        return float(_DOUBLE.unpack_from(self._shared)[0])


class Hands:
    """Moves that are made at once, or planned for a moment of the meter's time. Any thread."""

    def __init__(self, bench: SimulatedBench, clock: Hurried) -> None:
        self.world: World = bench.world
        self.clock = clock
        self._planned: list[tuple[float, int, Callable[[float], None]]] = []
        self._count = 0
        self._lock = threading.Lock()
        self._resistor: float | None = None
        self._seen = self.world.look
        self._meter = bench.meter
        bench.meter.act = self._act
        self.world.look = self._look  # type: ignore[method-assign]

    def now(self) -> float:
        return self.clock.now()

    def put(self, red: str, black: str, after: float = 0.0) -> None:
        """Put a tip on each of two places."""
        self._plan(after, lambda t: self._land(t, red, black))

    def together(self, after: float = 0.0) -> None:
        """Hold the tips together."""
        self._plan(after, lambda t: self._land(t, OTHER_TIP, OTHER_TIP))

    def lift(self, after: float = 0.0) -> None:
        self._plan(after, lambda _: self._off())

    def tap_put_tap(self, red: str, black: str, rest: float = 3.0) -> float:
        """Tap the tips together before and after ``rest`` on the work; return how long it takes."""
        self.lift()
        self.together(0.8)
        self.lift(1.4)
        self.put(red, black, 2.0)
        self.lift(2.0 + rest)
        self.together(2.6 + rest)
        self.lift(3.2 + rest)
        return 3.6 + rest

    def move(self, control: str, position: str, after: float = 0.0) -> None:
        self._plan(after, lambda t: self.world.move(t, control, position))

    def grip(self, ohms: float = inf, after: float = 0.0) -> None:
        """Fingers across both tips; nothing given lets go."""
        self._plan(after, lambda _: self.world.grip(ohms))

    def dial(self, ohms: float | None = None, after: float = 0.0) -> None:
        """Turn the meter to the range that ends at ``ohms``; nothing given: it ranges itself."""

        def turn(_: float) -> None:
            self._meter.autorange = ohms is None
            self._meter.range = ohms or self._meter.range

        self._plan(after, turn)

    def flex(self, seconds: float) -> None:
        self._plan(0.0, lambda t: self.world.flex(t, seconds))

    def warm(self, celsius: float, time_constant_s: float) -> None:
        self._plan(0.0, lambda t: self.world.warm(t, celsius, time_constant_s))

    def hold_resistor(self, ohms: float) -> None:
        """Put the tips on the two ends of a resistor that lies beside the engine."""

        def land(_: float) -> None:
            self._off()
            self._resistor = ohms

        self._plan(0.0, land)

    def _land(self, t: float, red: str, black: str) -> None:
        self._resistor = None
        self.world.land(t, red, black, later=0.08)

    def _off(self) -> None:
        self._resistor = None
        self.world.lift()

    def _plan(self, after: float, move: Callable[[float], None]) -> None:
        with self._lock:
            self._count += 1
            heapq.heappush(self._planned, (self.now() + after, self._count, move))

    def _act(self, t: float) -> float:
        with self._lock:
            while self._planned and self._planned[0][0] <= t:
                at, _, move = heapq.heappop(self._planned)
                move(at)
            return self._planned[0][0] if self._planned else inf

    def _look(self, t: float) -> MeterInput:
        ohms = self._resistor
        if ohms is None:
            return self._seen(t)
        return MeterInput(at_sockets(ohms, 0.02, inf, self.world._leads), ohms)
