"""The bench: the one engine behind live work, replay, analysis and tests.

Readings and commands come in, events go out. It has no clock, thread or file: time is the
reading's own ``t``, and all it knows is folded from the events that it gave (``Progress``). A
bench made from the same card, profile and past goes on where that past ended.
"""

from collections.abc import Iterable, Sequence
from typing import Final

import msgspec
from msgspec import structs

from meterlink.bench.progress import Progress, judge_again
from meterlink.bench.snapshot import Snapshot
from meterlink.card import (
    BY_PROFILE,
    BenchEvent,
    Card,
    OwnEvent,
    Step,
    lacking,
    left_out,
)
from meterlink.commands import AnyCommand, Back, Enter, Gestures, Redo, Skip, Zero
from meterlink.events import (
    Asked,
    CardBegan,
    CardEnded,
    CommandReceived,
    Event,
    Gap,
    Held,
    Judged,
    Lift,
    MeterConfirmed,
    MeterFlags,
    MeterSet,
    StepBegan,
    StepEnded,
    StepReopened,
    TouchEvent,
)
from meterlink.hold.contact import Stage
from meterlink.hold.detector import HoldDetector
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.judging.accuracy import Accuracy
from meterlink.meter_state import MeterState, misfit, turned_meanwhile
from meterlink.profile import Profile
from meterlink.quantities.plausible import below_zero, beyond_measure
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting
from meterlink.steps.entry import CautionStep, ConfirmationStep
from meterlink.steps.lead_zero import zeroed
from meterlink.steps.meter_check import MeterChecked
from meterlink.steps.step import SKIPPED
from meterlink.steps.worker import MeasurementContext, Worker

LEADS_AT_MOST: Final = 2.0
"""Ohms; the zero command takes no more than this for the leads."""

CARD_DONE: Final = "The card is done. A step of it can still be done again: redo it, or go back."


class Bench:
    """One card at work on one profile."""

    def __init__(
        self,
        card: Card,
        profile: Profile,
        *,
        accuracy: tuple[Accuracy, ...] = (),
        policy: HoldPolicy = POLICY,
        past: Iterable[Event] = (),
        confirms: bool = False,
    ) -> None:
        """Set up at the start of ``card``, or where ``past``, its events so far, ended.

        ``confirms``: a held value waits until ``confirm`` says that the meter was asked.
        """
        self.card = card
        self.profile = profile
        self.accuracy = accuracy
        self.progress = Progress(card)
        self.progress.apply_all(past)
        self.gestures = True
        self.sound = True
        """Whether the newest value made sense; see ``StepContext``."""
        self.reading: Reading | None = None
        self.setting: Setting | None = None
        self.asked: Asked | None = None
        self._detector = HoldDetector(policy)
        self._worker: Worker[OwnEvent] | None = None
        self._held: Held | None = None
        """The hold of the current touch."""
        self.confirms = confirms
        self._state = MeterState()
        self._blocked = False
        self._unconfirmed: tuple[Reading, Sequence[TouchEvent]] | None = None

    @property
    def stage(self) -> Stage:
        """Stage of the current touch."""
        return self._detector.stage

    @property
    def setup(self) -> MeterSetup | None:
        """What the current step wants the meter to measure; None where it needs no meter."""
        return None if self._worker is None else self._worker.setup

    @property
    def step(self) -> Step | None:
        """The step that readings and commands go to; None before the card began and at its end."""
        current = self.progress.current
        return None if current is None else self.card.find(current)

    @property
    def can_call_open(self) -> bool:
        """Whether an over range that stands now could be called open on the technician's word."""
        return self._worker is not None and not self._worker.no_word

    @property
    def context(self) -> MeasurementContext:
        """What bears on every value, as things stand."""
        return self.progress.context(self.accuracy, self.setting, self.profile)

    def begin(self, t: float) -> list[BenchEvent]:
        """Begin the card, or take it up again; return what that makes happen."""
        again = self.progress.began
        out: list[BenchEvent] = []
        self._note(CardBegan(t=t, card=self.card.id, profile=self.profile.id, again=again), out)
        self._leave_out(t, out)
        self._judge_again(t, out)
        self._go_on(t, out)
        return out

    def feed(self, reading: Reading) -> Sequence[BenchEvent]:
        """Take one reading; return what it makes happen, which nearly always is nothing."""
        self.reading = reading
        if self._state.see(reading):
            return self._flagged(reading.t)
        if not self._state.passes(reading):
            return ()
        if reading.quantity is Quantity.RESISTANCE and below_zero(
            reading.value, "ohm", reading.resolution or 0.0
        ):
            self.sound = False
        touches = self._detector.feed(reading)
        if self.confirms and any(isinstance(touch, Held) for touch in touches):
            self._unconfirmed = reading, touches
            return ()
        return self._follow(reading, touches)

    @property
    def unconfirmed(self) -> bool:
        """Whether a held value waits for ``confirm``."""
        return self._unconfirmed is not None

    def confirm(self, t: float, failed: str = "") -> list[BenchEvent]:
        """Let the held value count, if what the meter is set to allows it.

        What it answered is taken by ``set_meter`` before; ``failed`` says why it did not.
        """
        pending, self._unconfirmed = self._unconfirmed, None
        if pending is None:
            return []
        out: list[BenchEvent] = []
        reading, touches = pending
        say = failed or misfit(self.setting, self.setup) or " ".join(self._state.blocks)
        why = say or turned_meanwhile(self.setting, reading)
        self._note(MeterConfirmed(t=t, why=why, failed=failed), out)
        if why:
            touches = [touch for touch in touches if not isinstance(touch, Held)]
        out += self._follow(reading, touches)
        if say:
            self._note(Asked(t=t, step=self.progress.current or "", say=say), out)
        return out

    @property
    def astray(self) -> bool:
        """Whether the meter says that it measures something else than the step wants."""
        return bool(misfit(self.setting, self.setup))

    def _follow(self, reading: Reading, touches: Sequence[TouchEvent]) -> Sequence[BenchEvent]:
        """Take what the detector made of ``reading``."""
        worker = self._worker
        if not touches and (worker is None or not worker.attentive):
            return ()
        out: list[BenchEvent] = []
        for touch in touches:
            self._note(touch, out)
            if isinstance(touch, Held):
                self._held = touch
                if touch.unit == "ohm" and not below_zero(touch.value, "ohm", touch.resolution):
                    self.sound = True
            elif isinstance(touch, Lift):
                self._held = None
            if self._worker is not None:
                self._take(self._worker.meet(touch), out)
        same = worker is not None and worker is self._worker and worker.attentive
        if worker is not None and same and can_be_measured(reading):
            self._take(worker.read(reading), out)
        self._settle(reading.t, out)
        return out

    def tell(self, command: AnyCommand, t: float) -> list[BenchEvent]:
        """Take one command; return what it makes happen."""
        out: list[BenchEvent] = []
        self._note(CommandReceived(t=t, command=command), out)
        match command:
            case Skip():
                self._skip(command, t, out)
            case Redo():
                self._redo(command.step or self.progress.current, command.reason, t, out)
            case Back():
                before = self._step_before()
                self._redo(None if before is None else before.id, command.reason, t, out)
            case Zero():
                self._zero(t, out)
            case Gestures():
                self.gestures = command.on
            case _ if self._worker is not None:
                self._take(self._worker.hear(command, t), out)
        if len(out) == 1 and not isinstance(command, Gestures):
            self._answer(t, CARD_DONE if self._worker is None else _no_answer(command), out)
        self._settle(t, out)
        return out

    def set_meter(self, setting: Setting, t: float) -> list[BenchEvent]:
        """Take note of what the meter is set to from now on."""
        out: list[BenchEvent] = []
        self.setting = setting
        self._state.set(setting)
        if self._worker is not None:
            self._worker.meter(setting)
            self._detector.aim_at(self._worker.aim)
        quantity = "" if setting.quantity is None else setting.quantity.value
        self._note(
            MeterSet(
                t=t,
                quantity=quantity,
                range=setting.range,
                four_wire=setting.four_wire,
                integration_s=setting.integration_s,
                resolution=setting.resolution,
                lost=setting.lost,
                flags=setting.flags or msgspec.UNSET,
                cautions=setting.cautions or msgspec.UNSET,
            ),
            out,
        )
        wanted = self.setup
        unfit = wanted is not None and setting.quantity not in (None, wanted.quantity)
        if unfit and setting.lost and self.progress.current is not None:
            self._answer(t, setting.lost[0], out)
        return out

    def gap(self, gap: Gap) -> list[BenchEvent]:
        """Readings are missing: the touch is abandoned, the step stands.

        A gap comes twice, with ``until`` None when it begins and again when it has ended.
        """
        out: list[BenchEvent] = []
        self._abandon(gap.t, out)
        self.reading = None  # what the meter said before it went away says nothing of now
        self._note(gap, out)
        if gap.until is not None:
            self._reopen_worker(gap.until, out)
        return out

    def close(self) -> list[BenchEvent]:
        """End the stream: give what was still being counted."""
        out: list[BenchEvent] = []
        for touch in self._detector.close():
            self._note(touch, out)
        return out

    def look(self) -> Snapshot:
        """Return what can be seen at this moment."""
        live, reading, worker = self._detector.live, self.reading, self._worker
        value = live.value if live is not None else None
        if value is None and reading is not None and not reading.overload:
            value = reading.value
        corrected = value if value is None or worker is None else worker.corrected(value)
        return Snapshot(
            stage=self.stage,
            reading=reading,
            value=value,
            corrected=corrected,
            u=None if live is None else live.u,
            criterion=None if worker is None else worker.criterion,
            step=self.progress.current,
            asked=self.asked,
            remaining_s=None if worker is None else worker.remaining_s,
            can_call_open=self.can_call_open,
        )

    # --- within ---

    def _note(self, event: BenchEvent, out: list[BenchEvent]) -> None:
        """Every event goes through here: into the state and to the outside."""
        if isinstance(event, Judged | MeterChecked) and self._state.cautions:
            event = structs.replace(event, notes=(*event.notes, *self._state.cautions))
        self.progress.apply(event)
        if isinstance(event, Asked):
            self.asked = event
        out.append(event)

    def _answer(self, t: float, say: str, out: list[BenchEvent]) -> None:
        """Say ``say``, and after it the question that stands: nothing came of what was told."""
        worker = self._worker
        self._note(Asked(t=t, step="", say=say) if worker is None else worker.again(t, say), out)

    def _abandon(self, t: float, out: list[BenchEvent]) -> None:
        """The touch counts no more; the detector is armed again."""
        self._take(self._detector.gap(t), out)
        self._held = None

    def _flagged(self, t: float) -> list[BenchEvent]:
        """The meter says something else of itself than before: see ``meter_state``."""
        out: list[BenchEvent] = []
        state, current = self._state, self.progress.current
        self._note(
            MeterFlags(t=t, flags=state.flags, blocks=state.blocks, cautions=state.cautions), out
        )
        if state.blocks:
            self._abandon(t, out)
            self._note(Asked(t=t, step=current or "", say=" ".join(state.blocks)), out)
            self._blocked = True
        elif self._blocked:
            self._blocked = False
            self._reopen_worker(t, out)
        return out

    def _take(self, events: Iterable[BenchEvent], out: list[BenchEvent]) -> None:
        for event in events:
            self._note(event, out)

    def _settle(self, t: float, out: list[BenchEvent]) -> None:
        """After the worker spoke: go to the next step where the current one has its outcome."""
        current = self.progress.current
        if current is not None and self.progress.outcome(current):
            self._judge_again(t, out)
            self._go_on(t, out)

    def _leave_out(self, t: float, out: list[BenchEvent]) -> None:
        """Steps whose part this engine lacks are passed over from the start, with the reason."""
        for step in left_out(self.card, self.profile):
            if not self.progress.outcome(step.id):
                why = lacking(step, self.profile)
                ended = StepEnded(t=t, step=step.id, outcome=SKIPPED, reason=why, how=BY_PROFILE)
                self._note(ended, out)

    def _judge_again(self, t: float, out: list[BenchEvent]) -> None:
        """What was measured before a lead zero or temperature was corrected has a new verdict."""
        again = judge_again(self.progress, self.profile, self.accuracy, t)
        self._take(list(again), out)

    def _go_on(self, t: float, out: list[BenchEvent]) -> None:
        """Make the next open step the current one; end the card where there is none."""
        while (step := self.progress.next_step()) is not None:
            self._start(step, t, out)
            if not self.progress.outcome(step.id):
                return
        self._worker = self.asked = None
        self._detector.aim_at(None)
        if not self.progress.ended:
            ended = CardEnded(
                t=t,
                card=self.card.id,
                signed_off=self._signed_off(),
                meter_failed=self.progress.meter_failed,
            )
            self._note(ended, out)

    def _start(self, step: Step, t: float, out: list[BenchEvent]) -> None:
        self._note(StepBegan(t=t, step=step.id), out)
        self.asked = None
        self._worker = step.worker(self)
        self._detector.aim_at(self._worker.aim)
        self._take(self._worker.begin(t), out)

    def _reopen_worker(self, t: float, out: list[BenchEvent]) -> None:
        """The current step starts from its beginning; nothing that it said counts yet."""
        if self.progress.current is not None:
            self._start(self.card.find(self.progress.current), t, out)

    def _skip(self, command: Skip, t: float, out: list[BenchEvent]) -> None:
        step = self.progress.current
        if step is None:
            return
        if isinstance(self.card.find(step), CautionStep):
            self._answer(t, "The cautions cannot be skipped.", out)
            return
        self._note(
            StepEnded(
                t=t,
                step=step,
                outcome=SKIPPED,
                reason=command.reason,
                how=command.how.value,
                who=command.who,
            ),
            out,
        )

    def _redo(self, step: str | None, reason: str, t: float, out: list[BenchEvent]) -> None:
        if step is None:
            return
        if refused := self._cannot_redo(step):
            self._answer(t, refused, out)
            return
        self._note(StepReopened(t=t, step=step, reason=reason), out)
        self._withdraw_sign_off(step, t, out)
        self._held = None
        self._start(self.card.find(step), t, out)

    def _cannot_redo(self, step: str) -> str:
        """Return why ``step`` cannot be done again; empty where it can."""
        if step not in self.progress.results:
            there = ", ".join(self.progress.results)
            return f"There is no step «{plain(step)}» on this card; there are: {there}."
        if step != self.progress.current and not self.progress.outcome(step):
            title = self.card.find(step).title
            return f"«{title}» has not been done yet, so it cannot be done again."
        why = lacking(self.card.find(step), self.profile)
        return f"That cannot be done: {why}." if why else ""

    def _withdraw_sign_off(self, step: str, t: float, out: list[BenchEvent]) -> None:
        """A signature holds for the card as it was: what is done again must be signed again."""
        for signed in self.card.step:
            signs = isinstance(signed, ConfirmationStep) and signed.signs_off
            if signs and signed.id != step and self.progress.outcome(signed.id) == "yes":
                reason = f"«{self.card.find(step).title}» is done again"
                self._note(StepReopened(t=t, step=signed.id, reason=reason), out)

    def _zero(self, t: float, out: list[BenchEvent]) -> None:
        """Take the hold of this touch for the lead zero, whatever the step."""
        step, held = self.progress.current, self._held
        if step is None:
            return
        if held is None or held.unit != "ohm" or held.value > LEADS_AT_MOST:
            say = "Hold the probe tips together until the value is held, then take the zero."
            self._answer(t, say, out)
            return
        if self.progress.results[step].judged:
            reason = "that touch was the lead zero"
            self._note(StepReopened(t=t, step=step, reason=reason), out)
        self._note(zeroed(step, held, self.setting), out)
        self._reopen_worker(t, out)

    def _step_before(self) -> Step | None:
        """Return the nearest step with an outcome of its own that can be done on this profile.

        One that ends by itself, as resistance cannot tell, would only lead forward again.
        """
        before = None
        for step in self.card.step:
            if step.id == self.progress.current:
                break
            own = self.progress.outcome(step.id) not in ("", "cannot-tell")
            if own and not lacking(step, self.profile):
                before = step
        return before

    def _signed_off(self) -> bool:
        return any(
            isinstance(step, ConfirmationStep)
            and step.signs_off
            and self.progress.outcome(step.id) == "yes"
            and self.progress.holds(step.requires)
            for step in self.card.step
        )


def can_be_measured(reading: Reading) -> bool:
    """Return whether a meter can have measured it, over range or not."""
    return reading.overload or not beyond_measure(reading.value, reading.quantity.unit)


def _no_answer(command: AnyCommand) -> str:
    """Return what to say to a command that nothing comes of."""
    match command:
        case Enter(text=text) if text.strip():
            return f"«{plain(text)}» is no answer here."
        case Back() | Redo() | Skip() | Zero():
            return "There is nothing to do that with."
    return "That answers nothing here."
