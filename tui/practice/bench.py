"""The meter of a practice: the simulated bench, read by the real driver, held by the real bench.

One thread does it all: hands move, then readings are taken until something comes of it. The clock
is a virtual one, so that a move takes no time, and the same moves give the same readings.
"""

import threading
from collections.abc import Callable, Iterator, Sequence
from math import inf
from typing import Final, Self

from msgspec.structs import replace

from drivers.clock import VirtualClock
from drivers.opening import open_source
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.bench.bench import Bench
from meterlink.card import BenchEvent
from meterlink.circuit.wiring import AIR, OTHER_TIP
from meterlink.closing import Closing
from meterlink.commands import AnyCommand, Confirm, How, Redo, Skip
from meterlink.events import Asked, Entered, Event, Evidence, Held, Judged, StepEnded, Zeroed
from meterlink.quantities.notation import format_value
from meterlink.quantities.units import Celsius
from meterlink.reading import Reading
from meterlink.source import Identity, MeterSetup, Source
from meterlink.training.ledger import Flaw
from meterlink.training.measurements import AMBIENT, CAUTIONS, FREE, LEAD_ZERO, Touch
from meterlink.training.practice import Practice

SCENARIO: Final = "spring-service"
"""Meter and hands of every practice; engine and how it lies there come from the case."""
PATIENCE_S: Final = 8.0
"""How long hands stay for a value that does not come."""
LIFT_S: Final = 0.6
FINGERS_OHM: Final = 6e5
"""Body from hand to hand, dry: common practice, no published source."""
FLEX_S: Final = 22.0
WARM_C: Final = 110.0
WARM_S: Final = 25.0
"""Time constant of the warming, quickened like the soak itself."""

ROOM_C: Final = 20.0

Keep = Callable[[Reading | BenchEvent], object]


class PracticeBench(Closing):
    """Hands, meter and bench of one practice, from ``with`` to its end."""

    def __init__(self, practice: Practice) -> None:
        """Set all of it up; nothing is opened yet."""
        case = practice.case
        scenario = load_scenario(SCENARIO).with_engine(practice.engine)
        scenario = replace(
            scenario, bench=replace(scenario.bench, ambient=Celsius(ROOM_C), controls={})
        )
        self.practice = practice
        self.flawed: list[Flaw] = []
        """What was wrong with the touches since this was last looked at."""
        accuracy = scenario.accuracy()
        self.past = _at_hand(practice)
        """What the bench's card has behind it when it begins."""
        self.bench = Bench(practice.card, case.profile, accuracy=accuracy, past=self.past)
        self.keep: Keep = _forget
        """Given every reading and event, before anything else sees them."""
        self.range = case.range
        """Full scale that the meter is fixed on, ohms; None: as the bench asks."""
        self.scale = tuple(float(full) for full in scenario.meter.ranges)
        self._sim = SimulatedBench(scenario, seed=case.order.seed, clock=VirtualClock())
        self._source: Source | None = None
        self._readings: Iterator[Reading] = iter(())
        self._stop = threading.Event()
        self._set: tuple[MeterSetup | None, float | None] = (None, None)
        self._fingers = False
        self._moved = self._warmed = False

    def __enter__(self) -> Self:
        self._sim.__enter__()
        try:
            self._source = open_source(self._sim.port, clock=self._sim.clock)
        except BaseException:
            self._sim.close()
            raise
        self._readings = iter(self._source.readings(self._stop))
        return self

    def close(self) -> None:
        """Let go of the meter and end the bench. Safe to call twice."""
        self._stop.set()
        if self._source is not None:
            self._source.close()
        self._sim.close()

    def start(self) -> None:
        """Begin the card."""
        self._note(self.bench.begin(self._now))

    # --- what can be seen --------------------------------------------------------------------

    @property
    def step(self) -> str | None:
        """The step of a check that touches are judged in; None while the probes are free."""
        current = self.bench.progress.current
        return current if current in self.practice.steps else None

    @property
    def touching(self) -> tuple[str, str]:
        """The places that the red and the black tip are on."""
        return self._sim.world.touching

    @property
    def reading(self) -> Reading | None:
        """What the meter shows."""
        return self.bench.reading

    @property
    def shown(self) -> str:
        """What the meter shows, in words."""
        reading = self.bench.reading
        if reading is None:
            return "nothing yet"
        return "over range" if reading.overload else format_value(reading.value, "ohm")

    @property
    def identity(self) -> Identity:
        """What the meter says it is."""
        return Identity() if self._source is None else self._source.identity

    @property
    def zeroed(self) -> bool:
        """Whether the lead zero was taken."""
        return self.bench.progress.lead_zero is not None

    # --- what hands do -----------------------------------------------------------------------

    def place(self, red: str, black: str) -> list[BenchEvent]:
        """Put the tips on, and wait for a value or until patience ends."""
        events = self._lifted() if self.touching != (AIR, AIR) else []
        self._sim.hands.place(red, black)
        return events + self._watch(PATIENCE_S, _settles)

    def lift(self) -> list[BenchEvent]:
        """Take both tips off."""
        return self._lifted()

    def put(self, control: str, position: str) -> list[BenchEvent]:
        """Put a switch, connector or fitting into a position; what the tips are on, they stay."""
        self._sim.hands.switch(control, position)
        return self._watch(PATIENCE_S if self.step else LIFT_S, _settles)

    def grip(self, on: bool) -> list[BenchEvent]:
        """Lay fingers across the tips, or take them off."""
        self._fingers = on
        self._sim.hands.grip(FINGERS_OHM if on else inf)
        return self._watch(LIFT_S, _never)

    def flex(self) -> list[BenchEvent]:
        """Move the stop wire along its whole run, until a watch has had its time."""
        self._moved = True
        self._sim.hands.flex(FLEX_S)
        return self._watch(FLEX_S + 4, _ended)

    def warm(self) -> list[BenchEvent]:
        """Warm the windings, until a soak has had its time or asks something."""
        self._warmed = True
        self._sim.hands.warm(WARM_C, WARM_S)
        return self._watch(240.0, _ends_or_asks)

    def wait(self, seconds: float) -> list[BenchEvent]:
        """Do nothing for a while."""
        return self._watch(seconds, _ended)

    def turn_range(self, full_scale: float | None) -> list[BenchEvent]:
        """Fix the meter's range, or leave it to the bench again."""
        self.range = full_scale
        return self._watch(LIFT_S, _settles)

    def refit(self) -> None:
        """Lay the engine there as the practice has it now: something was put right."""
        self._sim.hands.refit(self.practice.engine)
        self._watch(LIFT_S, _never)

    # --- what is said ------------------------------------------------------------------------

    def begin(self, step: str) -> list[BenchEvent]:
        """Begin a step of a check."""
        self.free()
        if self._warmed:
            self._sim.hands.warm(ROOM_C, 1.0)
            self._watch(20.0, _never)
        self._moved = self._warmed = False
        return self._go_to(step)

    def free(self) -> None:
        """Take the tips off and leave the step: what is touched then is judged by nothing."""
        if self.touching != (AIR, AIR):
            self._lifted()
        if self.bench.progress.current not in (CAUTIONS, FREE):
            self.tell(Skip(reason="left", how=How.TYPED))

    def acknowledge(self) -> None:
        """The cautions were read and are met."""
        step = self.step
        self.free()
        if self.bench.progress.current == CAUTIONS:
            self.tell(Confirm(how=How.TYPED))
        if step is not None:
            self._go_to(step)

    def take_zero(self) -> list[BenchEvent]:
        """Hold the tips together and take the lead zero, then go back to where the card was."""
        step = self.step
        self.free()
        self._go_to(LEAD_ZERO)
        self._sim.hands.place(OTHER_TIP, OTHER_TIP)
        events = self._watch(PATIENCE_S, lambda event: isinstance(event, Zeroed))
        events += self._lifted()
        self.free()
        if step is not None:
            self._go_to(step)
        return events

    def tell(self, command: AnyCommand) -> list[BenchEvent]:
        """Tell the bench something."""
        return self._note(self.bench.tell(command, self._now))

    # --- within ------------------------------------------------------------------------------

    @property
    def _now(self) -> float:
        return self._sim.clock.now()

    def _lifted(self) -> list[BenchEvent]:
        self._sim.hands.lift()
        return self._watch(LIFT_S, _never)

    def _go_to(self, step: str) -> list[BenchEvent]:
        events = self.tell(Redo(step=step, how=How.TYPED))
        return [event for event in events if getattr(event, "step", step) == step]

    def _watch(self, seconds: float, enough: Callable[[BenchEvent], bool]) -> list[BenchEvent]:
        """Read for so long, or until an event is enough; return all that happened."""
        self._prepare()
        events: list[BenchEvent] = []
        until = self._now + seconds
        for reading in self._readings:
            self.keep(reading)
            happened = self._note(self.bench.feed(reading))
            events += happened
            if reading.t >= until or any(enough(event) for event in happened):
                break
        return events

    def _prepare(self) -> None:
        """Set the meter as the step wants it, or as it was fixed by hand."""
        wanted = self.bench.setup or MeterSetup()
        if self.range is not None:
            wanted = replace(wanted, expected=self.range)
        if (wanted, self.range) == self._set or self._source is None:
            return
        self._set = (wanted, self.range)
        setting = self._source.prepare(wanted)
        self._note(self.bench.set_meter(setting, self._now))

    def _note(self, events: Sequence[BenchEvent]) -> list[BenchEvent]:
        """Keep what happened, and enter the touches that count into the ledger."""
        for event in events:
            self.keep(event)
            if isinstance(event, Judged | StepEnded) and self._counts(event):
                self._enter(event)
        return list(events)

    def _counts(self, event: Judged | StepEnded) -> bool:
        """Whether a verdict or outcome rests on where the probes are at this very moment."""
        if event.step not in self.practice.steps:
            return False
        if isinstance(event, Judged):
            # The open between two closed readings was judged by those.
            return event.evidence is not Evidence.SAME_TOUCH
        return event.outcome != "skipped" and not self.practice.steps[event.step].judges

    def _settles_it(self, event: Judged | StepEnded) -> bool:
        outcome = event.outcome if isinstance(event, StepEnded) else ""
        return outcome in self.practice.steps[event.step].bad

    def _enter(self, event: Judged | StepEnded) -> None:
        probing = self.practice.steps[event.step]
        judged = event if isinstance(event, Judged) else None
        red, black = self.touching
        touch = Touch(
            red=red,
            black=black,
            controls=self.practice.condition.controls,
            fingers=self._fingers,
            zeroed=self.zeroed,
            range=self.range,
            resolution=0.0 if judged is None else judged.resolution,
            said=judged is not None and judged.value is None,
            switch=probing.switch,
            asked="" if judged is None else judged.position,
            # What shows itself at rest needs no moving or warming.
            moved=self._moved or not probing.wants_moving or self._settles_it(event),
            warmed=self._warmed or not probing.wants_warming or self._settles_it(event),
        )
        self.flawed += self.practice.touched(event.step, touch)


def _at_hand(practice: Practice) -> list[Event]:
    """Return the past of a card of which any step can be chosen, and none comes by itself.

    The bench does again what was left; so every step but the cautions and the free one was.
    """
    temperature = Entered(t=0.0, step=AMBIENT, text=f"{ROOM_C:g} °C", value=ROOM_C, unit="celsius")
    left = [
        StepEnded(t=0.0, step=step, outcome="skipped", reason="waits until it is chosen")
        for step in (LEAD_ZERO, *practice.steps)
    ]
    return [temperature, StepEnded(t=0.0, step=AMBIENT, outcome="done"), *left]


def _forget(_what: Reading | BenchEvent) -> None:
    """Keep nothing."""


def _settles(event: BenchEvent) -> bool:
    return isinstance(event, Held | Judged | StepEnded | Zeroed)


def _ended(event: BenchEvent) -> bool:
    return isinstance(event, StepEnded)


def _ends_or_asks(event: BenchEvent) -> bool:
    return isinstance(event, StepEnded | Asked)


def _never(_event: BenchEvent) -> bool:
    return False
