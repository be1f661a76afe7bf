"""What one step of the card does with readings and commands, whatever its kind."""

from collections.abc import Iterable
from typing import Final, Protocol

from msgspec import structs

from meterlink.bench.progress import Progress
from meterlink.bench.steps.assessors import MeasurementContext
from meterlink.card.card import Step
from meterlink.card.profile import Profile
from meterlink.commands import AnyCommand, CallOpen, Confirm, Deny, Enter, How
from meterlink.errors import NotationError
from meterlink.events import Asked, BenchEvent, Contact, Evidence, StepEnded, TouchEvent
from meterlink.hold import DecisionEdges
from meterlink.hold.stages import Stage
from meterlink.judging.criterion import Criterion
from meterlink.quantities.notation import parse_quantity
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting

ON_METAL: Final = "on bare metal"
NOT_SURE: Final = "no"
"""Answers to the question whether both tips are on bare metal; the harmless one is shown first."""

TIPS_QUESTION: Final = (
    f"Are both tips on bare metal right now? Answer «{ON_METAL}» or «{NOT_SURE}»; it is recorded "
    "as said, not measured."
)
PROOF: Final = (
    "Over range alone is no open: lifted probes read the same. Tap the tips together, touch the "
    "part for two seconds, tap again; or call it «open» on your word."
)
"""What to do where an open is to be concluded."""
NO_TAPS: Final = (
    "Over range alone is no open: lifted probes read the same, and taps cannot show it here. See "
    "that both tips are on bare metal; where it stays, call it «open» on your word."
)
"""The same where taps do not count, or the part may read as little as the tips alone."""


class StepContext(Protocol):
    """What a step may look at while it works."""

    profile: Profile
    progress: Progress
    gestures: bool
    """Whether taps, and tips held together at the lead zero, count as commands."""
    sound: bool
    """Whether the newest value made sense. After one that could not be, no open can be had on
    one's word until a sound one is held; a step that refuses a value says so here."""

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
        self._asked: Asked | None = None
        """The step's own question, which stands until the next."""
        self._tips: Asked | None = None
        """The question whether both tips are on bare metal, while it stands."""

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

    def meet(self, event: TouchEvent) -> Iterable[BenchEvent]:
        """Take what the bench gives: a touch answers the question about the tips by itself."""
        if isinstance(event, Contact) and self._tips is not None:
            self._tips = None
            yield self.again(event.t)
        yield from self.touch(event)

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        """A touch began, was held, ended, or readings were passed over."""
        return ()

    def read(self, reading: Reading) -> Iterable[BenchEvent]:
        """Every reading, while ``attentive``."""
        return ()

    def hear(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        """Take what the bench gives: what is said of an open first, then the step's own."""
        match command:
            case CallOpen():
                yield from self._called_open(command, t)
            case Enter() if self._tips is not None:
                yield from self._tips_answered(command, t)
            case Deny() if self._tips is not None:
                self._tips = None
                yield self.again(t)
            case Confirm() if self._tips is not None:
                yield self.again(t, "That needs its answer in words.")
            case Enter() if self.concludes_open and _calls_open(command.text):
                yield from self._called_open(command, t)
            case _:
                yield from self.tell(command, t)

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        """A command of this step's own; redo, skip and back never get here.

        Where nothing comes of it, the bench says the question again.
        """
        return ()

    @property
    def concludes_open(self) -> bool:
        """Whether an over range now could be called open on the technician's word."""
        return False

    def said_open(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        """Both tips are on bare metal, says the technician: record the open as said."""
        return ()

    def _called_open(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        why = self.no_word
        if command.how in (How.PEDAL, How.PROBES):
            why = "Pedal and probes call no open."
        if why:
            self._tips = None
            yield self.again(t, why)
            return
        position = "" if self._asked is None else self._asked.position
        self._tips = Asked(
            t=t,
            step=self.step_id,
            say=TIPS_QUESTION,
            position=position,
            answers=(NOT_SURE, ON_METAL),
        )
        yield self._tips

    def _tips_answered(self, command: Enter, t: float) -> Iterable[BenchEvent]:
        said = " ".join(command.text.lower().strip(" .").split())
        if said == NOT_SURE:
            self._tips = None
            yield self.again(t)
        elif said != ON_METAL or command.how in (How.PEDAL, How.PROBES):
            yield self.again(t, f"«{plain(command.text)}» is no answer to that.")
        elif why := self.no_word:
            self._tips = None
            yield self.again(t, why)
        else:
            self._tips = None
            yield from self.said_open(command, t)

    @property
    def no_word(self) -> str:
        """Why no open can be had on one's word now; empty where it can."""
        if not self.concludes_open:
            return "There is no open to call here."
        if not self.around.sound:
            return (
                "The meter showed what cannot be. Hold the tips together until a sound value "
                "stands; only then call an open."
            )
        if not over_range_now(self.around):
            return "The meter does not read over range now."
        return ""

    def corrected(self, value: float) -> float:
        """Return ``value`` as the verdict would see it, for display; SI units."""
        return value

    def ask(self, t: float, say: str, position: str = "", answers: tuple[str, ...] = ()) -> Asked:
        """Return the event that tells the technician what to do next; it stands until the next."""
        self._asked = Asked(t=t, step=self.step_id, say=say, position=position, answers=answers)
        return self._asked

    def again(self, t: float, why: str = "") -> Asked:
        """Return the question that stands, said again after ``why``."""
        asked = self._tips or self._asked
        if asked is None:
            return Asked(t=t, step=self.step_id, say=why)
        return structs.replace(asked, t=t, say=f"{why} {asked.say}".strip())

    def refuse(self, t: float, why: str) -> Asked:
        """Return the question said again after ``why`` a value cannot be."""
        self.around.sound = False
        return self.again(t, why)

    def end(
        self,
        t: float,
        outcome: str,
        command: AnyCommand | None = None,
        evidence: Evidence | None = None,
    ) -> StepEnded:
        """Return the event that ends this step, by the probes or by ``command``.

        ``evidence`` is kept where it is no more than the technician's word.
        """
        said = evidence if evidence is Evidence.SAID else None
        if command is None:
            return StepEnded(t=t, step=self.step_id, outcome=outcome, evidence=said)
        return StepEnded(
            t=t,
            step=self.step_id,
            outcome=outcome,
            how=command.how.value,
            who=command.who,
            evidence=said,
        )


def over_range_now(around: StepContext) -> bool:
    """Return whether the meter reads over range, in ohms, with nothing between the tips."""
    reading = around.reading
    return (
        around.stage is Stage.APART
        and reading is not None
        and reading.overload
        and reading.value > 0
        and reading.quantity is Quantity.RESISTANCE
    )


def _calls_open(text: str) -> bool:
    """Return whether what was typed says open, as the meter or the trade does."""
    if text.strip().lower() == "open":
        return True
    try:
        return parse_quantity(plain(text.strip()), default_unit="ohm").overload
    except NotationError:
        return False
