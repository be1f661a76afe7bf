"""Steps that hold one value: the lead zero, and a winding, lead or insulation."""

from collections.abc import Iterable
from typing import Final

from meterlink.bench.steps.assessors import criterion_for
from meterlink.bench.steps.base import NO_TAPS, PROOF, StepContext, Worker, over_range_now
from meterlink.bench.steps.judged import cannot_be, judged, judged_over_range
from meterlink.bench.steps.second_touch import Touches
from meterlink.bench.steps.taps import LONGEST_S, Gesture, Taps
from meterlink.card.card import LeadZeroStep, MeasurementStep
from meterlink.card.profile import Winding
from meterlink.card.profile_parts import find_part
from meterlink.commands import AnyCommand, Confirm, Enter
from meterlink.errors import NotationError
from meterlink.events import (
    BenchEvent,
    Entered,
    Evidence,
    Held,
    Judged,
    Lift,
    StepEnded,
    StepReopened,
    TouchEvent,
    Verdict,
    Zeroed,
)
from meterlink.judging.criterion import Criterion, Kind
from meterlink.quantities.notation import format_value, parse_quantity
from meterlink.quantities.plausible import BELOW_NOUGHT
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting
from meterlink.wording import VERDICT_WORDS, remark_on

LEADS_SETUP: Final = MeterSetup(quantity=Quantity.RESISTANCE, expected=1.0)


class LeadZeroWorker(Worker):
    """The probes held together give the resistance of the leads."""

    setup = LEADS_SETUP

    def __init__(self, step: LeadZeroStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        taken = around.progress.results[step.id].zeroed
        self._taken = taken is not None
        """Before a break perhaps."""

    def begin(self, t: float) -> Iterable[BenchEvent]:
        taken = self.around.progress.results[self.step_id].zeroed
        if taken is None:
            yield self.ask(t, self._step.say or "Hold the probe tips together.")
        else:
            shown = format_value(taken.value, "ohm", taken.resolution)
            yield self.ask(t, f"The lead zero is {shown}. Confirm, or hold the tips together.")

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        match event:
            case Held() if wrong := wrong_unit(event):
                yield self.again(event.t, wrong)
            case Held() if event.value > self._step.at_most:
                shown = format_value(event.value, "ohm")
                yield self.again(event.t, f"{shown} is no pair of leads: metal to metal.")
            case Held() if event.value < BELOW_NOUGHT:
                yield self.refuse(
                    event.t,
                    f"{format_value(event.value, 'ohm')} is less than nothing: the meter is on too "
                    "coarse a range, or needs its own zero.",
                )
            case Held() if not self.around.gestures:
                shown = format_value(event.value, "ohm", event.resolution)
                yield self.ask(event.t, f"{shown} is held; take it with the key for the lead zero.")
            case Held():
                self._taken = True
                yield zeroed(self.step_id, event, self.around.setting)
                yield self.ask(event.t, "Lead zero taken. Lift the probes.")
            case Lift() if self._taken:
                yield self.end(event.t, "done")

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        if isinstance(command, Confirm) and self._taken:
            yield self.end(t, "done", command)
        if isinstance(command, Enter):
            yield from self._typed(command, t)

    def _typed(self, command: Enter, t: float) -> Iterable[BenchEvent]:
        try:
            held = typed_hold(command.text, t)
        except NotationError as fault:
            yield self.again(t, f"{fault}.")
            return
        if not 0 <= held.value <= self._step.at_most:
            most = format_value(self._step.at_most, "ohm")
            yield self.again(t, f"The leads are between zero and {most}; type such as «0.12 ohm».")
            return
        yield entered(self.step_id, held, command, t)
        yield zeroed(self.step_id, held, None)
        yield self.end(t, "done", command)


class MeasurementWorker(Worker):
    """One winding, lead or insulation, held and judged against the profile."""

    def __init__(self, step: MeasurementStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._part = find_part(step, around.profile)
        self._judges = not isinstance(self._part, Winding) or self._part.judged_by_resistance
        if self._judges:
            self.criterion = criterion_for(self._part)
            self._aim(around)
            self.setup = MeterSetup(
                quantity=Quantity.RESISTANCE,
                expected=expected(self.criterion),
                four_wire=step.four_wire or self._wants_four_wires,
            )
        zero = around.progress.lead_zero
        self._taps = Taps(
            None if zero is None else zero.value,
            self.criterion.window.low if self._judges and self.criterion else None,
        )
        self._pending: Held | None = None
        """A hold near zero that may yet turn out to be a tap of the tips."""
        self._judged = around.progress.results[step.id].judged.get("")
        """The verdict of the current touch, or of one before a break."""
        self._from_before = self._judged is not None
        good = Verdict.IN_WINDOW if self.criterion is None else self.criterion.good
        self._touches = Touches(good, self._judged)

    def begin(self, t: float) -> Iterable[BenchEvent]:
        part = self._part
        if isinstance(part, Winding) and not self._judges:
            yield self.ask(t, f"Resistance does not judge this one: {part.why_not}")
            yield self.end(t, "cannot-tell")
            return
        if self._judged is not None:
            yield self.ask(t, f"{_before(self._judged)} Confirm, or touch again.")
            return
        a, b = part.between
        say = self._step.say or f"One probe on {a}, the other on {b}."
        if self.setup is not None and self.setup.four_wire:
            say += " Four wires, where the meter can: both clips of a pair on each point."
        yield self.ask(t, say)

    @property
    def _wants_four_wires(self) -> bool:
        return isinstance(self._part, Winding) and self._part.four_wire

    def meter(self, setting: Setting) -> None:
        if self._judges:
            self._aim(self.around)

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        self._taps.count = self.around.gestures
        gesture = self._taps.see(event)
        match event:
            case Held() if wrong := wrong_unit(event):
                yield self.again(event.t, wrong)
            case Held() if self._taps.could_be_tap(event):
                self._pending = event
                yield self.again(event.t, "It reads like the tips alone; keep the probes on.")
            case Held():
                yield from self._judge(event)
            case Lift():
                self._pending = None
                if self._judged is not None and not self._from_before:
                    yield from self._lifted(event.t, self._judged)
        if gesture is Gesture.OPEN and (self._judged is None or self._from_before):
            yield self._over_range(event.t, Evidence.TAPPED)
            yield self.end(event.t, "open")
        elif gesture is Gesture.AGAIN:
            self._judged = None
            self._touches = Touches(self._touches.good)
            yield StepReopened(t=event.t, step=self.step_id, reason="probes tapped twice")
            yield from self.begin(event.t)

    @property
    def attentive(self) -> bool:
        """Only while the touch may still be a tap."""
        return self._taps.watching or self._pending is not None

    def read(self, reading: Reading) -> Iterable[BenchEvent]:
        self._taps.read(reading)
        pending = self._pending
        if pending is not None and reading.t - pending.contact_t > LONGEST_S:
            self._pending, self._taps.watching = None, False
            yield from self._judge(pending)

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        match command:
            case Confirm() if self._judged is not None:
                yield self._end(t, self._judged, command)
            case Confirm() if over_range_now(self.around):
                yield self.again(t, self._proof)
            case Confirm():
                yield self.again(t, "Nothing is held yet; keep the probes on.")
            case Enter():
                yield from self._typed(command, t)

    @property
    def _proof(self) -> str:
        self._taps.count = self.around.gestures
        return PROOF if self._taps.tell else NO_TAPS

    @property
    def concludes_open(self) -> bool:
        return self._judges

    def said_open(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        said = self._over_range(t, Evidence.SAID)
        yield said
        yield self._end(t, said, command)

    def corrected(self, value: float) -> float:
        return self._assessor.correct(value)

    def _aim(self, around: StepContext) -> None:
        if self.criterion is not None:
            self._assessor = around.bearings.assessor(self.criterion, self._part.name)
            self.aim = self._assessor.aim()

    def _judge(self, held: Held) -> Iterable[BenchEvent]:
        assessment = self._assessor.assess(held)
        if why := cannot_be(held, assessment):
            typed = held.readings == 1  # what was typed says nothing of the meter
            yield self.again(held.t, why) if typed else self.refuse(held.t, why)
            return
        self._judged = self._touches.take(judged(self.step_id, held, assessment))
        self._from_before = False
        yield self._judged
        question = assessment.judgement.question or self._touches.say()
        said = (remark_on(held), question if held.readings > 1 else "")
        if say := " ".join(words for words in said if words):
            yield self.ask(held.t, say)

    def _lifted(self, t: float, judged: Judged) -> Iterable[BenchEvent]:
        if self._touches.settled:
            yield self._end(t, judged)
            return
        self._touches.lifted()
        a, b = self._part.between
        yield self.ask(t, f"One probe on {a}, the other on {b}: touch again.")

    def _over_range(self, t: float, evidence: Evidence) -> Judged:
        return judged_over_range(self.step_id, t, t, evidence, self._assessor)

    def _end(self, t: float, judged: Judged, command: AnyCommand | None = None) -> StepEnded:
        return self.end(t, judged.verdict.value, command, judged.evidence)

    def _typed(self, command: Enter, t: float) -> Iterable[BenchEvent]:
        try:
            held = typed_hold(command.text, t)
        except NotationError as fault:
            yield self.again(t, f"{fault}.")
            return
        yield entered(self.step_id, held, command, t)
        self._judged = None
        for event in self._judge(held):
            yield event
            if isinstance(event, Judged):
                yield self._end(t, event, command)


def _before(judged: Judged) -> str:
    """Return in a sentence what a touch before a break said."""
    value = "Over range"
    if judged.corrected is not None:
        value = format_value(judged.corrected, judged.unit, judged.resolution or None)
    return f"{value} was held before: {VERDICT_WORDS[judged.verdict]}."


def wrong_unit(held: Held) -> str:
    """Return what to turn the meter to, where it does not measure ohms; empty where it does."""
    if held.unit == "ohm":
        return ""
    return f"The meter reads {held.unit}; turn it to resistance (ohm). Nothing was judged."


def expected(criterion: Criterion) -> float | None:
    """Return the value that the meter's range should reach, ohms; None leaves it to the meter.

    For a winding it reaches what counts as open: on a shorter range, over range would only say
    «more than the range», and an open could not be told from a winding that is merely high. A
    lead or an earth path is a fraction of an ohm, and open or high it fails alike: there the last
    digit matters more.
    """
    high = criterion.window.high
    if high is None:
        return None
    if criterion.kind is not Kind.WINDING or criterion.open_above is None:
        return high
    return criterion.open_above + criterion.series


def zeroed(step: str, held: Held, setting: Setting | None) -> Zeroed:
    """Return the lead zero that ``held`` gives, taken with the meter set to ``setting``."""
    return Zeroed(
        t=held.t,
        step=step,
        value=held.value,
        u=held.u,
        dof=held.dof,
        resolution=held.resolution,
        range=None if setting is None else setting.range,
    )


def entered(step: str, held: Held, command: Enter, t: float) -> Entered:
    """Return the entry event of a typed resistance."""
    return Entered(
        t=t,
        step=step,
        text=plain(command.text.strip()),
        value=held.value,
        unit="ohm",
        who=command.who,
        when=command.when,
        how=command.how.value,
    )


def typed_hold(text: str, t: float) -> Held:
    """Return a typed resistance as a hold of one reading.

    Raises:
        NotationError: it is no resistance, or an over range, which is none.
    """
    value = parse_quantity(plain(text.strip()), default_unit="ohm")
    if value.overload or value.unit != "ohm":
        raise NotationError(f"«{plain(text)}» is no resistance; type such as «0.84 ohm» or «4k7»")
    return Held(
        t=t,
        contact_t=t,
        value=value.value,
        readings=1,
        noise=0.0,
        resolution=value.resolution or 0.0,
        u=0.0,
        dof=float("inf"),
    )
