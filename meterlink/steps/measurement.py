"""The measurement: one winding, insulation or lead, held and judged against the profile.

A tip on enamel, on rust or on the wrong place gives a value as steady as a bad winding does. So a
part is not called bad by one touch: lift, touch again, and both are recorded.
"""

from collections.abc import Iterable
from typing import ClassVar, Final, Never

from msgspec import structs

from meterlink.commands import AnyCommand, Confirm, Enter
from meterlink.errors import NotationError
from meterlink.events import (
    CommonEvent,
    Evidence,
    Held,
    Judged,
    Lift,
    StepEnded,
    StepReopened,
    TouchEvent,
    Verdict,
)
from meterlink.judging.criterion import Criterion
from meterlink.profile import Insulation, Lead, Profile, Winding, named
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting
from meterlink.steps.held import (
    cannot_be,
    expected,
    judged,
    judged_over_range,
    typed_hold,
    wrong_unit,
)
from meterlink.steps.step import CANNOT_TELL, SKIPPED, StepBase
from meterlink.steps.taps import LONGEST_S, Gesture, Taps
from meterlink.steps.worker import NO_TAPS, PROOF, StepContext, Worker, over_range_now
from meterlink.wording import VERDICT_WORDS, remark_on


class MeasurementStep(
    StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="measurement"
):
    """One value held and judged against the profile."""

    winding: str = ""
    insulation: str = ""
    lead: str = ""
    """Which entry of the profile; exactly one of the three."""
    four_wire: bool = False
    """Ask for four wires though the profile does not; needs the clips for it on the parts."""

    one_touch: ClassVar[bool] = True
    can_be_called_open: ClassVar[bool] = True

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({*(verdict.value for verdict in Verdict), CANNOT_TELL, SKIPPED})

    @property
    def fault(self) -> str:
        if sum(map(bool, (self.winding, self.insulation, self.lead))) != 1:
            return ": name exactly one of winding, insulation and lead"
        return ""

    @property
    def wants(self) -> tuple[str, str] | None:
        named = (("winding", self.winding), ("insulation", self.insulation), ("lead", self.lead))
        return next(((kind, name) for kind, name in named if name), None)

    def part(self, profile: Profile) -> Winding | Insulation | Lead:
        """Return its entry of ``profile``.

        Raises:
            KeyError: there is none.
        """
        if self.winding:
            return named(profile.winding, self.winding)
        if self.insulation:
            return named(profile.insulation, self.insulation)
        return named(profile.lead, self.lead)

    def points(self, profile: Profile) -> tuple[str, ...]:
        return self.part(profile).between

    def criterion(self, profile: Profile, position: str = "") -> Criterion | None:
        """Return what its value is judged by; None where the engine or its windows lack it."""
        try:
            part = self.part(profile)
        except KeyError:
            return None
        return (
            None if isinstance(part, Winding) and not part.judged_by_resistance else part.criterion
        )

    def is_good(self, outcome: str, profile: Profile | None) -> bool | None:
        """Return whether ``outcome`` is the verdict that passes."""
        criterion = None if profile is None else self.criterion(profile)
        return None if criterion is None else outcome == criterion.good.value

    def worker(self, around: StepContext) -> "MeasurementWorker":
        return MeasurementWorker(self, around)


class MeasurementWorker(Worker[Never]):
    """One winding, lead or insulation, held and judged against the profile."""

    def __init__(self, step: MeasurementStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._part = step.part(around.profile)
        self._judges = not isinstance(self._part, Winding) or self._part.judged_by_resistance
        if self._judges:
            self.criterion = self._part.criterion
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

    def begin(self, t: float) -> Iterable[CommonEvent]:
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

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent]:
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

    def read(self, reading: Reading) -> Iterable[CommonEvent]:
        self._taps.read(reading)
        pending = self._pending
        if pending is not None and reading.t - pending.contact_t > LONGEST_S:
            self._pending, self._taps.watching = None, False
            yield from self._judge(pending)

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
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

    def said_open(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
        said = self._over_range(t, Evidence.SAID)
        yield said
        yield self._end(t, said, command)

    def corrected(self, value: float) -> float:
        return self._assessor.correct(value)

    def _aim(self, around: StepContext) -> None:
        if self.criterion is not None:
            self._assessor = around.context.assessor(self.criterion, self._part.name)
            self.aim = self._assessor.aim()

    def _judge(self, held: Held) -> Iterable[CommonEvent]:
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

    def _lifted(self, t: float, judged: Judged) -> Iterable[CommonEvent]:
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

    def _typed(self, command: Enter, t: float) -> Iterable[CommonEvent]:
        try:
            held = typed_hold(command.text, t)
        except NotationError as fault:
            yield self.again(t, f"{fault}.")
            return
        yield self.entered(t, command, plain(command.text.strip()), held.value, "ohm")
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


NOT_REPEATED: Final = "not-repeated"
AGREES: Final = "agrees"
DISAGREES: Final = "disagrees"

WAITS: Final = frozenset({NOT_REPEATED, DISAGREES})
"""What a verdict says of itself where another touch is asked for."""


class Touches:
    """The verdicts of one step, a touch each, until it is settled."""

    def __init__(self, good: Verdict, before: Judged | None = None) -> None:
        """``before``: what an earlier sitting left of the step."""
        self.good = good
        self._earlier: list[Judged] = []
        if before is not None and before.repeat in WAITS:
            self._earlier.append(before)
        self._now: Judged | None = None

    def take(self, judged: Judged) -> Judged:
        """Return the verdict of the present touch with what the touches before say of it."""
        if judged.verdict is self.good and not self._earlier:
            self._now = judged
        elif not self._earlier:
            self._now = structs.replace(judged, repeat=NOT_REPEATED)
        elif any(_agree(judged, other) for other in self._earlier):
            self._now = structs.replace(judged, repeat=AGREES)
        else:
            said = (
                f"The touches disagree: {_shown(self._earlier[-1])} before, {_shown(judged)} now."
            )
            self._now = structs.replace(
                judged, repeat=DISAGREES, clear=False, notes=(*judged.notes, said)
            )
        return self._now

    @property
    def settled(self) -> bool:
        """Whether nothing more is to be touched."""
        return self._now is not None and self._now.repeat not in WAITS

    def say(self) -> str:
        """Return what to do while the probes are still on; empty where nothing special is."""
        if self._now is None or not self._now.repeat:
            return ""
        if self._now.repeat == AGREES:
            return "Both touches agree. Lift the probes."
        if self._now.repeat == DISAGREES:
            return (
                f"The touches disagree: {_shown(self._earlier[-1])}, then {_shown(self._now)}. "
                "Clean both places, lift and touch again."
            )
        return f"{VERDICT_WORDS[self._now.verdict].capitalize()}? Lift and touch again."

    def lifted(self) -> None:
        """The touch is over."""
        if self._now is not None and not self.settled:
            self._earlier.append(self._now)
            self._now = None


def _agree(one: Judged, other: Judged) -> bool:
    """Return whether two touches say the same, by their verdicts and values."""
    if one.verdict is not other.verdict:
        return False
    if one.corrected is None or other.corrected is None:
        return True
    return abs(one.corrected - other.corrected) <= max(one.u or 0.0, other.u or 0.0)


def _shown(judged: Judged) -> str:
    if judged.corrected is None:
        return "over range"
    return format_value(judged.corrected, judged.unit, judged.resolution or None)
