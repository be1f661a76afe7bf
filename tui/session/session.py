"""One sitting at the bench: readings to disk, to the engine, to the log, and then to the faces.

The order is the promise: a reading is written before the engine or a screen sees it. Two threads
come in here, the one that reads the meter (``run``) and whichever brings commands (``tell``); a
lock makes them take turns. Faces get ``Update`` and must return at once.
"""

import threading
from collections.abc import Callable, Iterable, Sequence
from typing import Final

from msgspec.structs import replace

from captures.job.job import JobWriter
from captures.record.files import to_the_clock
from captures.record.writer import RecordWriter
from drivers.clock import Clock
from meterlink.bench.bench import Bench
from meterlink.bench.snapshot import Face, Update
from meterlink.card import BenchEvent
from meterlink.commands import AnyCommand
from meterlink.errors import MeterError
from meterlink.events import Gap
from meterlink.source import Identity, MeterSetup, Setting, Source

GLANCE_S: Final = 0.04
"""Without an event the faces are told no more often than this, however fast the meter is."""


ASK_AGAIN_S: Final = 1.0
"""How often a meter that was turned to something else is asked whether it was turned back."""


class Session:
    """Joins a meter, a record and the bench. Use ``run`` from a thread of its own."""

    def __init__(
        self, bench: Bench, source: Source, job: JobWriter, capture: RecordWriter, clock: Clock
    ) -> None:
        self.bench = bench
        self._source = source
        self._job = job
        self._capture = capture
        self._clock = clock
        self._faces: list[Face] = []
        self._lock = threading.RLock()
        self._begun = self._closed = False
        self._set_for: MeterSetup | None = None
        self._shown_t = self._asked_t = float("-inf")
        self.readings = 0
        self.between: Callable[[], None] | None = None
        """Called by the reading thread between two readings; simulated hands speak here."""

    @property
    def trouble(self) -> str:
        """Why what happens is not on disk, with the mend; empty while it is."""
        return self._capture.trouble or self._job.log.trouble

    @property
    def meter(self) -> Identity:
        """What the meter says it is."""
        return self._source.identity

    def show(self, face: Face) -> None:
        """Tell ``face`` of everything from now on; on the thread where it happens."""
        self._faces.append(face)

    def begin(self) -> None:
        """Begin the card, or take it up again, so that commands count. Safe to call twice."""
        with self._lock:
            if not self._begun:
                self._begun = True
                self._handle(self.bench.begin(self._now()))

    def run(self, stop: threading.Event) -> None:
        """Read until ``stop`` is set, the source ends or the card does.

        Raises:
            MeterError: the meter went away or makes no sense; all before it is on disk.
        """
        self.begin()
        for reading in self._source.readings(stop):
            reading = replace(reading, t=to_the_clock(reading.t))
            with self._lock:
                self.readings += 1
                self._capture.append(reading)
                self._handle(self.bench.feed(reading))
                if self.bench.unconfirmed:
                    self._confirm()
                elif self.bench.astray and self._clock.now() - self._asked_t > ASK_AGAIN_S:
                    self._ask()
            if self.between is not None:
                self.between()
            if self.bench.progress.ended:
                break
        with self._lock:
            self._handle(self.bench.close())

    def tell(self, command: AnyCommand) -> None:
        """Take a command, once the card has begun. May be called from any thread.

        Once the session is closed, nothing more can be recorded, so that nothing is done.
        """
        with self._lock:
            if self._closed:
                return
            self.begin()
            self._handle(self.bench.tell(command, self._now()))

    def close(self) -> None:
        """Take no more commands: job and capture are about to be closed."""
        with self._lock:
            self._closed = True

    def turned(self, setting: Setting) -> None:
        """Someone turned the meter's knob. Called by the thread that reads."""
        with self._lock:
            self._handle(self.bench.set_meter(setting, self._now()))

    def gap(self, gap: Gap) -> None:
        """Readings are missing, or the meter is back. Called by the thread that reads."""
        with self._lock:
            until = None if gap.until is None else to_the_clock(gap.until)
            self._handle(self.bench.gap(replace(gap, t=to_the_clock(gap.t), until=until)))

    def _now(self) -> float:
        return to_the_clock(self._clock.now())

    def _handle(self, events: Iterable[BenchEvent]) -> None:
        """Write, then show; then set the meter as a new step wants it."""
        events = tuple(events)
        for event in events:
            self._capture.append(event)
            self._job.log.append(event)
        self._show(events)
        setup = self.bench.setup
        if setup is not None and setup != self._set_for:
            self._set_for = setup
            self._prepare(setup)

    def _show(self, events: Sequence[BenchEvent]) -> None:
        now = self._clock.now()
        if not events and now - self._shown_t < GLANCE_S:
            return
        self._shown_t = now
        seen = Update(events, self.bench.look())
        for face in self._faces:
            face(seen)

    def _confirm(self) -> None:
        """Ask what the meter is set to before a held value counts, and let the bench know."""
        failed = self._ask()
        self._handle(self.bench.confirm(self._clock.now(), failed))

    def _ask(self) -> str:
        """Ask what the meter is set to; return why it could not be asked, else nothing."""
        setup = self.bench.setup
        if setup is None:
            return ""
        try:
            setting = self._source.confirm(setup)
        except MeterError as fault:
            return str(fault)
        finally:
            self._asked_t = self._clock.now()
        if setting != self.bench.setting:
            self._handle(self.bench.set_meter(setting, self._clock.now()))
        return ""

    def _prepare(self, setup: MeterSetup) -> None:
        """Set the meter; what it refuses is a thing that was asked for and could not be had.

        The bench is told either way: with all that it was told in the record, it replays exactly.
        """
        t = self._now()
        try:
            setting = self._source.prepare(setup)
        except MeterError as fault:
            setting = Setting(lost=(str(fault),))
        self._handle(self.bench.set_meter(setting, t))
