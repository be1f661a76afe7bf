"""One step at work: readings, touches and commands in; events out, and nothing else."""

from collections.abc import Iterable, Mapping
from typing import Final, Generic, Protocol, TypeVar

import msgspec
from msgspec import structs

from meterlink.commands import AnyCommand, CallOpen, Confirm, Deny, Enter, How
from meterlink.errors import NotationError
from meterlink.events import (
    Asked,
    CommonEvent,
    Contact,
    Entered,
    Evidence,
    StepEnded,
    StepEvent,
    TouchEvent,
    Zeroed,
)
from meterlink.hold.contact import Stage
from meterlink.hold.stopping import DecisionEdges
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.assumed import NOTHING_SAID, Assumed
from meterlink.judging.correction import LeadZero, Temperature
from meterlink.judging.criterion import Criterion, Rule
from meterlink.profile import Profile, Winding
from meterlink.quantities.notation import parse_quantity
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting
from meterlink.steps.step import StepBase, StepCondition, StepResult

ON_METAL: Final = "on bare metal"
NOT_SURE: Final = "no"
"""Answers to the question whether both tips are on bare metal; the harmless one is shown first."""

TIPS_QUESTION: Final = f"Are both tips on bare metal? Answer “{ON_METAL}” or “{NOT_SURE}”."
PROOF: Final = (
    "Over range may be an open, or lifted probes. Tap the tips together, touch the part for two "
    "seconds, tap again. Or call it “open”."
)
"""What to do where an open is to be concluded."""
NO_TAPS: Final = (
    "Over range may be an open, or lifted probes. Press both tips on bare metal. If it stays, "
    "call it “open”."
)
"""The same where taps do not count, or the part may read as little as the tips alone."""


Own = TypeVar("Own", bound=StepEvent, covariant=True)
"""The event that a kind alone has; ``Never`` where it has none."""


class MeasurementContext(msgspec.Struct, frozen=True):
    """What bears on every value: accuracy of the meter, leads, temperature, setting."""

    accuracy: tuple[Accuracy, ...] = ()
    lead_zero: LeadZero | None = None
    temperature: Temperature | None = None
    setting: Setting = Setting()
    """As far as the meter tells."""
    assumed: Assumed = NOTHING_SAID
    """What stands in for facts that nobody declared."""
    rule: Rule = Rule.SIMPLE
    """By which parts are accepted or rejected."""
    windings: tuple[Winding, ...] = ()
    """Those of the engine, so that one that is touched for another is known."""

    def assessor(self, criterion: Criterion, part: str = "") -> Assessor:
        """Return the assessor of a step with ``criterion``, as things stand.

        ``part``: the name of what is measured.
        A lead zero belongs to ohms alone, a temperature to copper alone.
        """
        return Assessor(
            criterion,
            self.accuracy,
            self.lead_zero,
            self.temperature,
            four_wire=self.setting.four_wire,
            full_scale=self.setting.range,
            resolution=self.setting.resolution or 0.0,
            assumed=self.assumed,
            others=self._others(part),
            rule=self.rule,
        )

    def _others(self, part: str) -> tuple[tuple[str, Criterion], ...]:
        """Return name and criterion of the windings that could be touched in place of ``part``.

        Only where ``part`` is a winding itself: what reads like a winding says most there.
        """
        windings = [w for w in self.windings if w.judged_by_resistance and w.low]
        if part not in {winding.name for winding in windings}:
            return ()
        return tuple((w.name, w.criterion) for w in windings if w.name != part)


def lead_zero_of(taken: Zeroed | None) -> LeadZero | None:
    """Return the lead zero that an event says was taken; None where none was."""
    if taken is None:
        return None
    return LeadZero(
        value=taken.value,
        u=taken.u,
        dof=taken.dof,
        resolution=taken.resolution,
        range=taken.range,
    )


class CardState(Protocol):
    """What a step can know of the card that it stands on; ``Progress`` is one."""

    @property
    def results(self) -> Mapping[str, StepResult]:
        """What each step has said so far, by id."""
        ...

    @property
    def lead_zero(self) -> Zeroed | None:
        """The lead zero that counts."""
        ...

    @property
    def temperature(self) -> float | None:
        """Of the parts on the bench, degrees Celsius; None where not known."""
        ...

    def holds(self, conditions: Iterable[StepCondition]) -> bool:
        """Return whether every one of ``conditions`` is met."""
        ...

    def title(self, step: str) -> str:
        """Return the title of a step."""
        ...


class StepContext(Protocol):
    """What a step may look at while it works."""

    profile: Profile
    gestures: bool
    """Whether taps, and tips held together at the lead zero, count as commands."""
    sound: bool
    """Whether the newest value made sense. After one that could not be, no open can be had on
    one's word until a sound one is held; a step that refuses a value says so here."""

    @property
    def progress(self) -> CardState:
        """Where the card stands."""
        ...

    @property
    def context(self) -> MeasurementContext:
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


class Worker(Generic[Own]):
    """One step at work. Kinds override what they need; events go out, and nothing else.

    Beside the events that all kinds share it may yield those of its own kind.
    """

    setup: MeterSetup | None = None
    """What the meter should measure; None where the step needs no meter."""
    aim: DecisionEdges | None = None
    """Where a hold's value matters."""
    criterion: Criterion | None = None
    """What the held value is judged against, for the screen's ruler."""

    def __init__(self, step: StepBase, around: StepContext) -> None:
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

    def begin(self, t: float) -> Iterable[CommonEvent | Own]:
        """The step becomes the current one."""
        return ()

    def meter(self, setting: Setting) -> None:
        """The meter is set to ``setting`` from now on."""

    def meet(self, event: TouchEvent) -> Iterable[CommonEvent | Own]:
        """Take what the bench gives: a touch answers the question about the tips by itself."""
        if isinstance(event, Contact) and self._tips is not None:
            self._tips = None
            yield self.again(event.t)
        yield from self.touch(event)

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent | Own]:
        """A touch began, was held, ended, or readings were passed over."""
        return ()

    def read(self, reading: Reading) -> Iterable[CommonEvent | Own]:
        """Every reading, while ``attentive``."""
        return ()

    def hear(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Own]:
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

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Own]:
        """A command of this step's own; redo, skip and back never get here.

        Where nothing comes of it, the bench says the question again.
        """
        return ()

    @property
    def concludes_open(self) -> bool:
        """Whether an over range now could be called open on the technician's word."""
        return False

    def said_open(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Own]:
        """Both tips are on bare metal, says the technician: record the open as said."""
        return ()

    def _called_open(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Own]:
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

    def _tips_answered(self, command: Enter, t: float) -> Iterable[CommonEvent | Own]:
        said = " ".join(command.text.lower().strip(" .").split())
        if said == NOT_SURE:
            self._tips = None
            yield self.again(t)
        elif said != ON_METAL or command.how in (How.PEDAL, How.PROBES):
            yield self.again(t, f"“{plain(command.text)}” is no answer to that.")
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

    def entered(
        self,
        t: float,
        command: Confirm | Enter,
        text: str,
        value: float | None = None,
        unit: str = "",
    ) -> Entered:
        """Return the event of what a person entered by ``command``: ``text``, worth ``value``."""
        return Entered(
            t=t,
            step=self.step_id,
            text=text,
            value=value,
            unit=unit,
            who=command.who,
            when=command.when,
            how=command.how.value,
        )

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
