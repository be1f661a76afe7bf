"""The watch: dropouts while wires are moved or a part is heated."""

from collections.abc import Iterable
from typing import Final, Literal

from msgspec import structs

from meterlink.commands import AnyCommand, Confirm
from meterlink.events import CommonEvent, Evidence, Held, StepEvent, TouchEvent
from meterlink.profile import Points, Profile
from meterlink.quantities.notation import format_value
from meterlink.quantities.units import Seconds
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup
from meterlink.steps.held import wrong_unit
from meterlink.steps.step import SKIPPED, StepBase, StepState
from meterlink.steps.worker import StepContext, Worker, over_range_now

RISE_OHM: Final = 0.5
RISE_RATIO: Final = 0.2
"""A closed path has dropped out once it reads above its level by this much, whichever is more."""
LIFTED_S: Final = 1.5
"""A longer over range may be lifted probes: it is no dropout, and the clock of the watch waits."""
CLOSES_BELOW: Final = 1e5
"""Ohms; a path that should stay open has closed below this."""

OPEN_FROM_START: Final = (
    "Over range may be an open wire, or lifted probes. Press both tips on bare metal. Open from "
    "the start: call it “open”."
)

WORDS: Final = {"none": "no dropouts", "some": "dropouts"}
_OPEN_WORDS: Final = {"none": "stayed open", "some": "closed at times"}
"""A watch of what must not close has no dropouts to speak of."""


class Dropout(StepEvent, frozen=True, kw_only=True, tag="dropout"):
    """While watching: the path opened, or left its level, and came back."""

    lasted_s: float
    depth: float | None
    """Farthest value seen, ohms; None for an over range."""

    @property
    def good(self) -> bool:
        """An alarm tone goes with it."""
        return False

    def tell(self, *, ohm_sign: bool) -> str:
        return f"dropout of {self.lasted_s:.2f} s, {self.depth_words(ohm_sign=ohm_sign)}"

    def depth_words(self, *, ohm_sign: bool = True) -> str:
        """Return how far it went."""
        return "over range" if self.depth is None else format_value(self.depth, ohm_sign=ohm_sign)


class WatchState(StepState, kw_only=True):
    """The dropouts so far."""

    stays_open: bool = False
    """Whether the path should stay open, and so has closed where it dropped out."""
    dropouts: int = 0
    longest_s: float = 0.0

    def apply(self, event: StepEvent) -> None:
        """Count one."""
        if isinstance(event, Dropout):
            self.dropouts += 1
            self.longest_s = max(self.longest_s, event.lasted_s)

    def in_short(self, *, ohm_sign: bool) -> str:
        """Return how many there were."""
        return f"{self.dropouts} of them" if self.dropouts else ""


class WatchStep(StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="watch"):
    """A continuous look for dropouts while wires are moved or a part is heated."""

    between: Points
    lasts: Seconds = Seconds(20.0)
    expect: Literal["closed", "open"] = "closed"
    """A wire should stay closed; a path that should stay open must not close."""

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({"none", "some", SKIPPED})

    @property
    def fault(self) -> str:
        return ".lasts: expected more than nothing" if self.lasts <= 0 else ""

    def points(self, profile: Profile) -> tuple[str, ...]:
        return self.between

    def outcome_words(self, outcome: str) -> str:
        words = _OPEN_WORDS if self.expect == "open" else WORDS
        return words.get(outcome, outcome)

    def is_good(self, outcome: str, profile: Profile | None) -> bool:
        """Return whether the path stayed as it should."""
        return outcome == "none"

    def state(self) -> WatchState:
        return WatchState(stays_open=self.expect == "open")

    def tell(self, event: StepEvent, *, ohm_sign: bool) -> str:
        """Return a dropout as one sentence; what must stay open has closed instead."""
        if self.expect == "open" and isinstance(event, Dropout):
            return f"closed for {event.lasted_s:.2f} s, {event.depth_words(ohm_sign=ohm_sign)}"
        return event.tell(ohm_sign=ohm_sign)

    def worker(self, around: StepContext) -> "WatchWorker":
        return WatchWorker(self, around)


class WatchWorker(Worker[Dropout]):
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
        self._count = around.progress.results[step.id].own.of(WatchState).dropouts
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

    def begin(self, t: float) -> Iterable[CommonEvent | Dropout]:
        a, b = self._step.between
        start = "" if self._step.expect == "closed" else " Confirm to start the watch."
        if self._count:
            start += f" {self._count} dropouts were seen before."
        yield self.ask(t, f"{self._step.say or f'Probes on {a} and {b}.'}{start}")

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent | Dropout]:
        if not isinstance(event, Held) or self._running or self._step.expect == "open":
            return
        if wrong := wrong_unit(event):
            yield self.again(event.t, wrong)
            return
        self._level, self._running = event.value, True
        yield self.ask(event.t, f"Watching for {self._step.lasts:g} s: move the wire, every bend.")

    def read(self, reading: Reading) -> Iterable[CommonEvent | Dropout]:
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

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Dropout]:
        if not isinstance(command, Confirm):
            return
        if self._running:
            yield from self._finish(t, command)
        elif self._step.expect == "open":
            self._running = True
            yield self.ask(t, f"Watching for {self._step.lasts:g} s: move the wire, every bend.")
        elif over_range_now(self.around):
            yield self.again(t, OPEN_FROM_START)
        else:
            yield self.again(t, "Nothing is held yet; keep the probes on.")

    @property
    def concludes_open(self) -> bool:
        return not self._running and self._step.expect == "closed"

    def said_open(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Dropout]:
        ended = self.end(t, "some", command, Evidence.SAID)
        yield structs.replace(ended, reason="open from the start")

    def _is_out(self, reading: Reading) -> bool:
        if self._step.expect == "open":
            return not reading.overload and reading.value < CLOSES_BELOW
        level = self._level or 0.0
        return reading.overload or reading.value > level + max(RISE_OHM, RISE_RATIO * level)

    def _out(self, reading: Reading) -> Iterable[CommonEvent | Dropout]:
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

    def _came_back(self, t: float) -> Iterable[CommonEvent | Dropout]:
        out_t, self._out_t = self._out_t or t, None
        lasted = t - out_t
        asked, self._asked_back = self._asked_back, False
        if asked or (lasted > LIFTED_S and self._depth is None):
            yield self.ask(t, "Watching again.")
            return
        self._count += 1
        yield Dropout(t=out_t, step=self.step_id, lasted_s=lasted, depth=self._depth)

    def _finish(
        self, t: float, command: AnyCommand | None = None
    ) -> Iterable[CommonEvent | Dropout]:
        self._running = False
        if self._out_t is not None:
            yield from self._came_back(t)
        # A path that stayed open and probes that never touched read the same all along.
        untouched = self._step.expect == "open" and not self._count
        evidence = Evidence.SAID if untouched else None
        yield self.end(t, "some" if self._count else "none", command, evidence)
