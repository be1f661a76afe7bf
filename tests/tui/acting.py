"""A session without a meter: the real bench, fed by a test one reading after another.

``run`` works on its own thread as in the program; ``feed`` returns once the readings are through.
"""

import queue
import threading
from collections.abc import Callable, Iterable, Sequence
from math import inf

from meterlink.bench.bench import Bench
from meterlink.bench.snapshot import Face, Snapshot, Update
from meterlink.card import BenchEvent, Card
from meterlink.commands import AnyCommand
from meterlink.errors import MeterError
from meterlink.events import Event
from meterlink.profile import Profile
from meterlink.reading import Reading
from meterlink.source import Identity

RATE = 10.0
"""Readings a second, in the bench's own time."""


class ActedSession:
    """Does what ``Session`` does for a face, without meter and disk."""

    def __init__(self, card: Card, profile: Profile, past: Iterable[Event] = ()) -> None:
        self.bench = Bench(card, profile, past=past)
        self.readings = 0
        self.trouble = ""
        self.meter = Identity(model="bench meter", serial="4021")
        self.told: list[AnyCommand] = []
        self.seen: list[BenchEvent] = []
        self.begun = threading.Event()
        self._faces: list[Face] = []
        self._lock = threading.RLock()
        self._work: queue.Queue[Callable[[], None]] = queue.Queue()
        self._t = 0.0

    @property
    def t(self) -> float:
        """Present time of the bench, seconds."""
        return self._t

    def show(self, face: Face) -> None:
        self._faces.append(face)

    def run(self, stop: threading.Event) -> None:
        with self._lock:
            self._handle(self.bench.begin(self._t))
        self.begun.set()
        while not stop.is_set():
            try:
                work = self._work.get(timeout=0.02)
            except queue.Empty:
                continue
            work()

    def tell(self, command: AnyCommand) -> None:
        with self._lock:
            self.told.append(command)
            self._handle(self.bench.tell(command, self._t))

    # --- for tests ----------------------------------------------------------------------------

    def feed(self, values: Iterable[float | None], *, resolution: float | None = None) -> None:
        """Let the meter read ``values``, None for over range; wait until all are through."""
        done = threading.Event()

        def work() -> None:
            for value in values:
                self._read(value, resolution)
            done.set()

        self._work.put(work)
        assert done.wait(10.0)

    def touch(self, value: float, *, resolution: float = 0.001, readings: int = 40) -> None:
        """Touch something of ``value`` ohms long enough for a hold; stay on it."""
        wobble = (0, 1, 0, -1, 0, 0, 1, -1)
        self.feed(
            [value + resolution * wobble[n % len(wobble)] for n in range(readings)],
            resolution=resolution,
        )

    def lift(self) -> None:
        """Take the probes off."""
        self.feed([None] * 12)

    def lose(self, error: Exception | None = None) -> None:
        """Let the meter go away."""

        def work() -> None:
            raise error or MeterError("the meter no longer answers; plug it in again")

        self._work.put(work)

    def happen(self, events: Sequence[BenchEvent], look: Snapshot | None = None) -> None:
        """Let these events happen and ``look`` be seen, whatever the bench thinks."""
        done = threading.Event()

        def work() -> None:
            with self._lock:
                self._show(events, look)
            done.set()

        self._work.put(work)
        assert done.wait(10.0)

    def _read(self, value: float | None, resolution: float | None) -> None:
        with self._lock:
            self._t += 1 / RATE
            self.readings += 1
            over = value is None
            self._handle(
                self.bench.feed(
                    Reading(
                        t=self._t,
                        value=inf if value is None else value,
                        overload=over,
                        resolution=None if over else resolution,
                    )
                )
            )

    def _handle(self, events: Iterable[BenchEvent]) -> None:
        self._show(tuple(events))

    def _show(self, events: Sequence[BenchEvent], look: Snapshot | None = None) -> None:
        self.seen += events
        seen = Update(events, look or self.bench.look())
        for face in self._faces:
            face(seen)
