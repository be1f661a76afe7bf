"""The bench: the one engine behind live work, replay, analysis and tests.

Readings and commands come in, events go out. It has no clock, thread or file: time is the
reading's own ``t``, and all it knows is folded from the events that it gave (``Progress``).
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from msgspec import structs

from meterlink.bench.progress import Progress, judge_again, pass_over, withdraw_sign_off
from meterlink.bench.snapshot import Snapshot
from meterlink.card import (
    BenchEvent,
    Card,
    OwnEvent,
    Step,
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
    StepBegan,
    StepEnded,
    StepReopened,
    TouchEvent,
)
from meterlink.hold.contact import Stage
from meterlink.hold.detector import HoldDetector
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.judging.accuracy import Accuracy
from meterlink.meter_state import MeterState, meter_set, misfit, turned_meanwhile
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.quantities.units import below_zero, beyond_measure
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting
from meterlink.steps.entry import CautionStep
from meterlink.steps.lead_zero import LEADS_AT_MOST, zeroed
from meterlink.steps.meter_check import MeterChecked
from meterlink.steps.step import SKIPPED
from meterlink.steps.worker import MeasurementContext, Worker

TIPS_FIRST: Final = "Hold the probe tips together until the value is held, then take the zero."
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
        return self._noted(self._begin(t))

    def feed(self, reading: Reading) -> Sequence[BenchEvent]:
        """Take one reading; return what it makes happen, which nearly always is nothing."""
        self.reading = reading
        if self._state.see(reading):
            return self._noted(self._flagged(reading.t))
        if not self._state.passes(reading):
            return ()
        if reading.quantity is Quantity.RESISTANCE and below_zero(
            reading.value, "ohm", reading.resolution or 0.0
        ):
            self.sound = False
        touches = self._detector.feed(reading)
        if not touches and (self._worker is None or not self._worker.attentive):
            return ()
        if self.confirms and any(isinstance(touch, Held) for touch in touches):
            self._unconfirmed = reading, touches
            return ()
        return self._noted(self._follow(reading, touches))

    @property
    def unconfirmed(self) -> bool:
        """Whether a held value waits for ``confirm``."""
        return self._unconfirmed is not None

    def confirm(self, t: float, failed: str = "") -> list[BenchEvent]:
        """Let the held value count, if what the meter is set to allows it.

        What it answered is taken by ``set_meter`` before; ``failed`` says why it did not.
        """
        pending, self._unconfirmed = self._unconfirmed, None
        return [] if pending is None else self._noted(self._confirmed(*pending, t, failed))

    @property
    def astray(self) -> bool:
        """Whether the meter says that it measures something else than the step wants."""
        return bool(misfit(self.setting, self.setup))

    def tell(self, command: AnyCommand, t: float) -> list[BenchEvent]:
        """Take one command; return what it makes happen."""
        out = self._noted([CommandReceived(t=t, command=command)])
        came = self._noted(self._obey(command, t))
        if not came and not isinstance(command, Gestures):
            why = CARD_DONE if self._worker is None else _no_answer(command)
            came = self._noted([self._answer(t, why)])
        return out + came + self._noted(self._settle(t))

    def set_meter(self, setting: Setting, t: float) -> list[BenchEvent]:
        """Take note of what the meter is set to from now on."""
        self.setting = setting
        self._state.set(setting)
        if self._worker is not None:
            self._worker.meter(setting)
            self._detector.aim_at(self._worker.aim)
        unfit = self.astray and setting.lost and self.progress.current is not None
        answers = [self._answer(t, setting.lost[0])] if unfit else []
        return self._noted([meter_set(setting, t), *answers])

    def gap(self, gap: Gap) -> list[BenchEvent]:
        """Readings are missing: the touch is abandoned, the step stands.

        A gap comes twice, with ``until`` None when it begins and again when it has ended.
        """
        return self._noted(self._missed(gap))

    def close(self) -> list[BenchEvent]:
        """End the stream: give what was still being counted."""
        return self._noted(self._detector.close())

    def look(self) -> Snapshot:
        """Return what can be seen at this moment."""
        live, reading, worker = self._detector.live, self.reading, self._worker
        value = None if live is None else live.value
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

    # --- within: what happens is yielded, and is in the state before the next is worked out ---

    def _noted(self, events: Iterable[BenchEvent]) -> list[BenchEvent]:
        """Every event goes through here: into the state and to the outside."""
        out: list[BenchEvent] = []
        for event in events:
            if isinstance(event, Judged | MeterChecked) and self._state.cautions:
                event = structs.replace(event, notes=(*event.notes, *self._state.cautions))
            self.progress.apply(event)
            if isinstance(event, Asked):
                self.asked = event
            out.append(event)
        return out

    def _answer(self, t: float, say: str) -> Asked:
        """Return ``say`` and after it the question that stands: nothing came of what was told."""
        worker = self._worker
        return Asked(t=t, step="", say=say) if worker is None else worker.again(t, say)

    # --- readings, and what the meter says of itself ---

    def _follow(self, reading: Reading, touches: Sequence[TouchEvent]) -> Iterator[BenchEvent]:
        """Take what the detector made of ``reading``."""
        worker = self._worker
        for touch in touches:
            yield touch
            if isinstance(touch, Held):
                self._held = touch
                if touch.unit == "ohm" and not below_zero(touch.value, "ohm", touch.resolution):
                    self.sound = True
            elif isinstance(touch, Lift):
                self._held = None
            if self._worker is not None:
                yield from self._worker.meet(touch)
        same = worker is not None and worker is self._worker and worker.attentive
        can_be = reading.overload or not beyond_measure(reading.value, reading.quantity.unit)
        if worker is not None and same and can_be:
            yield from worker.read(reading)
        yield from self._settle(reading.t)

    def _confirmed(
        self, reading: Reading, touches: Sequence[TouchEvent], t: float, failed: str
    ) -> Iterator[BenchEvent]:
        say = failed or misfit(self.setting, self.setup) or " ".join(self._state.blocks)
        why = say or turned_meanwhile(self.setting, reading)
        yield MeterConfirmed(t=t, why=why, failed=failed)
        if why:
            touches = [touch for touch in touches if not isinstance(touch, Held)]
        yield from self._follow(reading, touches)
        if say:
            yield Asked(t=t, step=self.progress.current or "", say=say)

    def _flagged(self, t: float) -> Iterator[BenchEvent]:
        """The meter says something else of itself than before: see ``meter_state``."""
        state, blocks = self._state, self._state.blocks
        yield MeterFlags(t=t, flags=state.flags, blocks=blocks, cautions=state.cautions)
        if blocks:
            yield from self._abandon(t)
            yield Asked(t=t, step=self.progress.current or "", say=" ".join(blocks))
            self._blocked = True
        elif self._blocked:
            self._blocked = False
            yield from self._reopen_worker(t)

    def _missed(self, gap: Gap) -> Iterator[BenchEvent]:
        yield from self._abandon(gap.t)
        self.reading = None  # what the meter said before it went away says nothing of now
        yield gap
        if gap.until is not None:
            yield from self._reopen_worker(gap.until)

    def _abandon(self, t: float) -> Iterator[BenchEvent]:
        """The touch counts no more; the detector is armed again."""
        yield from self._detector.gap(t)
        self._held = None

    # --- the course of the card ---

    def _begin(self, t: float) -> Iterator[BenchEvent]:
        card, profile = self.card.id, self.profile.id
        yield CardBegan(t=t, card=card, profile=profile, again=self.progress.began)
        yield from pass_over(self.progress, self.profile, t)
        yield from judge_again(self.progress, self.profile, self.accuracy, t)
        yield from self._go_on(t)

    def _settle(self, t: float) -> Iterator[BenchEvent]:
        """After the worker spoke: go to the next step where the current one has its outcome."""
        current = self.progress.current
        if current is not None and self.progress.outcome(current):
            yield from judge_again(self.progress, self.profile, self.accuracy, t)
            yield from self._go_on(t)

    def _go_on(self, t: float) -> Iterator[BenchEvent]:
        """Make the next open step the current one; end the card where there is none."""
        while (step := self.progress.next_step()) is not None:
            yield from self._start(step, t)
            if not self.progress.outcome(step.id):
                return
        self._worker = self.asked = None
        self._detector.aim_at(None)
        if not self.progress.ended:
            yield CardEnded(
                t=t,
                card=self.card.id,
                signed_off=self.progress.is_signed,
                meter_failed=self.progress.meter_failed,
            )

    def _start(self, step: Step, t: float) -> Iterator[BenchEvent]:
        yield StepBegan(t=t, step=step.id)
        self.asked = None
        self._worker = step.worker(self)
        self._detector.aim_at(self._worker.aim)
        yield from self._worker.begin(t)

    def _reopen_worker(self, t: float) -> Iterator[BenchEvent]:
        """The current step starts from its beginning; nothing that it said counts yet."""
        if self.progress.current is not None:
            yield from self._start(self.card.find(self.progress.current), t)

    # --- commands ---

    def _obey(self, command: AnyCommand, t: float) -> Iterator[BenchEvent]:
        match command:
            case Skip():
                yield from self._skip(command, t)
            case Redo():
                yield from self._redo(command.step or self.progress.current, command.reason, t)
            case Back():
                before = self.progress.step_before(self.profile)
                yield from self._redo(None if before is None else before.id, command.reason, t)
            case Zero():
                yield from self._zero(t)
            case Gestures():
                self.gestures = command.on
            case _ if self._worker is not None:
                yield from self._worker.hear(command, t)

    def _skip(self, command: Skip, t: float) -> Iterator[BenchEvent]:
        step = self.progress.current
        if step is None:
            return
        if isinstance(self.card.find(step), CautionStep):
            yield self._answer(t, "The cautions cannot be skipped.")
            return
        yield StepEnded(
            t=t,
            step=step,
            outcome=SKIPPED,
            reason=command.reason,
            how=command.how.value,
            who=command.who,
        )

    def _redo(self, step: str | None, reason: str, t: float) -> Iterator[BenchEvent]:
        if step is None:
            return
        if refused := self.progress.why_not_again(step, self.profile):
            yield self._answer(t, refused)
            return
        yield StepReopened(t=t, step=step, reason=reason)
        yield from withdraw_sign_off(self.progress, step, t)
        self._held = None
        yield from self._start(self.card.find(step), t)

    def _zero(self, t: float) -> Iterator[BenchEvent]:
        """Take the hold of this touch for the lead zero, whatever the step."""
        step, held = self.progress.current, self._held
        if step is None:
            return
        if held is None or held.unit != "ohm" or held.value > LEADS_AT_MOST:
            yield self._answer(t, TIPS_FIRST)
            return
        if self.progress.results[step].judged:
            yield StepReopened(t=t, step=step, reason="that touch was the lead zero")
        yield zeroed(step, held, self.setting)
        yield from self._reopen_worker(t)


def _no_answer(command: AnyCommand) -> str:
    """Return what to say to a command that nothing comes of."""
    match command:
        case Enter(text=text) if text.strip():
            return f"“{plain(text)}” is no answer here."
        case Back() | Redo() | Skip() | Zero():
            return "There is nothing to do that with."
    return "That answers nothing here."
