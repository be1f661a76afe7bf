"""What one step of the card does with readings and commands, whatever its kind."""

from collections.abc import Iterable
from typing import Protocol

from meterlink.bench.progress import Progress
from meterlink.bench.steps.assessors import MeasurementContext
from meterlink.card.card import Step
from meterlink.card.profile import Profile
from meterlink.commands import AnyCommand
from meterlink.events import Asked, BenchEvent, StepEnded, TouchEvent
from meterlink.hold import DecisionEdges
from meterlink.hold.stages import Stage
from meterlink.judging.criterion import Criterion
from meterlink.reading import Reading
from meterlink.source import MeterSetup, Setting


class StepContext(Protocol):
    """What a step may look at while it works."""

    profile: Profile
    progress: Progress
    gestures: bool
    """Whether taps, and tips held together at the lead zero, count as commands."""

    @property
    def bearings(self) -> MeasurementContext:
        """What bears on every value, as things stand."""
        ...

    @property
    def stage(self) -> Stage:
        """Stage of the current touch."""
        ...

    @property
    def reading(self) -> Reading | None:
        """The newest reading."""
        ...

    @property
    def setting(self) -> Setting | None:
        """What the meter is set to; None before it told."""
        ...


class Worker:
    """One step at work. Kinds of step override what they need; events go out, nothing else."""

    setup: MeterSetup | None = None
    """What the meter should measure; None where the step needs no meter."""
    aim: DecisionEdges | None = None
    """Where a hold's value matters."""
    criterion: Criterion | None = None
    """What the held value is judged against, for the screen's ruler."""

    def __init__(self, step: Step, around: StepContext) -> None:
        self.step_id = step.id
        self.around = around

    @property
    def attentive(self) -> bool:
        """Whether ``read`` wants every reading now, not only the events of touches."""
        return False

    @property
    def remaining_s(self) -> float | None:
        """Seconds of readings until the step is done; None where no clock of its own runs."""
        return None

    def begin(self, t: float) -> Iterable[BenchEvent]:
        """The step becomes the current one."""
        return ()

    def meter(self, setting: Setting) -> None:
        """The meter is set to ``setting`` from now on."""

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        """A touch began, was held, ended, or readings were passed over."""
        return ()

    def read(self, reading: Reading) -> Iterable[BenchEvent]:
        """Every reading, while ``attentive``."""
        return ()

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        """A command of this step's own; redo, skip and back never get here."""
        return ()

    def corrected(self, value: float) -> float:
        """Return ``value`` as the verdict would see it, for display; SI units."""
        return value

    def ask(self, t: float, say: str, position: str = "") -> Asked:
        """Return the event that tells the technician what to do next."""
        return Asked(t=t, step=self.step_id, say=say, position=position)

    def end(self, t: float, outcome: str, command: AnyCommand | None = None) -> StepEnded:
        """Return the event that ends this step, by the probes or by ``command``."""
        if command is None:
            return StepEnded(t=t, step=self.step_id, outcome=outcome)
        return StepEnded(
            t=t, step=self.step_id, outcome=outcome, how=command.how.value, who=command.who
        )
