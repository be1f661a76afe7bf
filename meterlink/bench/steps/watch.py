"""The watch: dropouts while wires are moved or a part is heated."""

from collections.abc import Iterable
from typing import Final

from msgspec import structs

from meterlink.bench.steps.base import StepContext, Worker
from meterlink.bench.steps.measurement import over_range_now, wrong_unit
from meterlink.card.card import WatchStep
from meterlink.commands import AnyCommand, Confirm
from meterlink.events import BenchEvent, Dropout, Held, TouchEvent
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup

RISE_OHM: Final = 0.5
RISE_RATIO: Final = 0.2
"""A closed path has dropped out once it reads above its level by this much, whichever is more."""
LIFTED_S: Final = 1.5
"""A longer over range may be lifted probes: it is no dropout, and the clock of the watch waits."""
CLOSES_BELOW: Final = 1e5
"""Ohms; a path that should stay open has closed below this."""


class WatchWorker(Worker):
    """Counts dropouts of a path against its level at the start."""

    setup = MeterSetup(quantity=Quantity.RESISTANCE, expected=10.0)

    def __init__(self, step: WatchStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._level: float | None = None
        self._watched_s = 0.0
        self._last_t: float | None = None
        self._out_t: float | None = None
        self._depth: float | None = None
        self._count = around.progress.results[step.id].dropouts
        """Those before a break too."""
        self._running = False
        self._asked_back = False

    @property
    def remaining_s(self) -> float | None:
        """Seconds still to watch; the times when the probes were off do not count."""
        return max(0.0, self._step.lasts - self._watched_s) if self._running else None

    @property
    def attentive(self) -> bool:
        return True

    def begin(self, t: float) -> Iterable[BenchEvent]:
        a, b = self._step.between
        start = "" if self._step.expect == "closed" else " Confirm to start the watch."
        if self._count:
            start += f" {self._count} dropouts were seen before."
        yield self.ask(t, f"{self._step.say or f'Probes on {a} and {b}.'}{start}")

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        if not isinstance(event, Held) or self._running or self._step.expect == "open":
            return
        if wrong := wrong_unit(event):
            yield self.ask(event.t, wrong)
            return
        self._level, self._running = event.value, True
        yield self.ask(event.t, f"Watching for {self._step.lasts:g} s: move the wire, every bend.")

    def read(self, reading: Reading) -> Iterable[BenchEvent]:
        if not self._running or reading.value != reading.value:  # not-a-number tells nothing
            return
        since = reading.t - (reading.t if self._last_t is None else self._last_t)
        self._last_t = reading.t
        if self._is_out(reading):
            yield from self._out(reading)
        elif self._out_t is not None:
            yield from self._came_back(reading.t)
        if self._out_t is None or reading.t - self._out_t <= LIFTED_S:
            self._watched_s += max(0.0, since)
        if self._watched_s >= self._step.lasts:
            yield from self._finish(reading.t)

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        if not isinstance(command, Confirm):
            return
        if self._running:
            yield from self._finish(t, command)
        elif self._step.expect == "open":
            self._running = True
            yield self.ask(t, f"Watching for {self._step.lasts:g} s: move the wire, every bend.")
        elif over_range_now(self.around):
            # The technician says that the probes touch: it is open without being moved.
            ended = self.end(t, "some", command)
            yield structs.replace(ended, reason="open from the start, said by the technician")
        else:
            yield self.ask(t, "Nothing is held yet; keep the probes on.")

    def _is_out(self, reading: Reading) -> bool:
        if self._step.expect == "open":
            return not reading.overload and reading.value < CLOSES_BELOW
        level = self._level or 0.0
        return reading.overload or reading.value > level + max(RISE_OHM, RISE_RATIO * level)

    def _out(self, reading: Reading) -> Iterable[BenchEvent]:
        if self._out_t is None:
            self._out_t = reading.t
            self._depth = None if reading.overload else reading.value
        elif reading.overload:
            self._depth = None
        elif self._depth is not None:
            farther = min if self._step.expect == "open" else max
            self._depth = farther(self._depth, reading.value)
        lifted = reading.overload and reading.t - self._out_t > LIFTED_S
        if lifted and not self._asked_back:
            self._asked_back = True
            yield self.ask(reading.t, "The probes seem to be off; put them back, the watch waits.")

    def _came_back(self, t: float) -> Iterable[BenchEvent]:
        out_t, self._out_t = self._out_t or t, None
        lasted = t - out_t
        asked, self._asked_back = self._asked_back, False
        if asked or (lasted > LIFTED_S and self._depth is None):
            yield self.ask(t, "Watching again.")
            return
        self._count += 1
        yield Dropout(t=out_t, step=self.step_id, lasted_s=lasted, depth=self._depth)

    def _finish(self, t: float, command: AnyCommand | None = None) -> Iterable[BenchEvent]:
        self._running = False
        if self._out_t is not None:
            yield from self._came_back(t)
        yield self.end(t, "some" if self._count else "none", command)
