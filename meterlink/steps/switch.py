"""The switch check: closed, open, closed under probes that stay on.

An open switch and lifted probes read the same. Only an over range between two closed readings,
taken while the probes were to stay on, says that it was the switch that opened.
"""

from collections.abc import Iterable
from typing import ClassVar, Final, Never

from meterlink.commands import AnyCommand, Confirm
from meterlink.events import CommonEvent, Evidence, Held, Lift, TouchEvent, Verdict
from meterlink.hold.contact import Stage
from meterlink.judging.assess import Assessor
from meterlink.judging.criterion import Criterion
from meterlink.profile import Profile, Switch, named
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting
from meterlink.steps.held import cannot_be, judged, judged_over_range, wrong_unit
from meterlink.steps.step import SKIPPED, StepBase
from meterlink.steps.worker import StepContext, Worker, over_range_now

STUCK_AFTER_S: Final = 8.0
"""A switch asked to open that still reads closed after this is asked about."""

SLIP_S: Final = 0.3
"""Nobody hears “back” and moves a switch in less; a shorter over range is a probe that slipped."""

NO_PROOF: Final = (
    "Over range may be an open switch, or lifted probes. Press both tips on bare metal. If it "
    "stays, call it “open”."
)

PASSED, STUCK, NEVER = "passed", "stuck-closed", "never-closes"


WORDS: Final = {STUCK: "stuck closed", NEVER: "never closes"}


class SwitchStep(
    StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="switch-check"
):
    """A switch in its positions, closed, open, closed under probes that stay on."""

    switch: str
    """Name in the profile."""

    can_be_called_open: ClassVar[bool] = True

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({PASSED, STUCK, NEVER, SKIPPED})

    @property
    def wants(self) -> tuple[str, str]:
        return "switch", self.switch

    def part(self, profile: Profile) -> Switch:
        """Return its entry of ``profile``.

        Raises:
            KeyError: there is none.
        """
        return named(profile.switch, self.switch)

    def points(self, profile: Profile) -> tuple[str, ...]:
        return self.part(profile).between

    def criterion(self, profile: Profile, position: str = "") -> Criterion | None:
        """Return what a value in ``position`` is judged by; None where the engine has none."""
        if profile.lacks(*self.wants):
            return None
        return self.part(profile).criterion_in(position)

    def outcome_words(self, outcome: str) -> str:
        return WORDS.get(outcome, outcome)

    def is_good(self, outcome: str, profile: Profile | None) -> bool:
        """Return whether the switch works."""
        return outcome == PASSED

    def worker(self, around: StepContext) -> "SwitchWorker":
        return SwitchWorker(self, around)


class SwitchWorker(Worker[Never]):
    """Asks for each position in turn: the closed one before and after every open one."""

    def __init__(self, step: SwitchStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._part = step.part(around.profile)
        closed = [p for p, state in self._part.positions.items() if state == "closed"]
        opens = [p for p, state in self._part.positions.items() if state == "open"]
        self._asks = [(closed[0], True)]
        for turn, position in enumerate(opens, start=1):
            self._asks += [(position, False), (closed[turn % len(closed)], True)]
        self._at = 0
        self._outcome = PASSED
        self._opened_t: float | None = None
        """When the switch opened, until a closed reading proves that the probes stayed on."""
        self._asked_t = 0.0
        self._questioned = False
        self._last_closed: Held | None = None
        self._finished = False
        self.criterion = self._part.criterion(closed=True)
        self._assessors(around)
        # No range of its own: it reads milliohms and megohms in turn, so the meter ranges itself.
        self.setup = MeterSetup(quantity=Quantity.RESISTANCE)

    @property
    def attentive(self) -> bool:
        """Only while an open is due: a switch that stays closed is asked about."""
        return not self._finished and not self._wants_closed

    def begin(self, t: float) -> Iterable[CommonEvent]:
        position = self._asks[0][0]
        a, b = self._part.between
        say = self._step.say or f"Probes on {a} and {b}."
        self._asked_t = t
        yield self.ask(t, f"{say} Set the {self._part.name} to “{position}”.", position)

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent]:
        if self._finished:
            if isinstance(event, Lift):
                yield self.end(event.t, self._outcome)
            return
        match event:
            case Held() if wrong := wrong_unit(event):
                yield self.again(event.t, wrong)
            case Held() if self._wants_closed:
                yield from self._held_closed(event)
            case Held():
                yield from self._held_open(event)
            case Lift() if not self._wants_closed:
                # Open, if a closed reading follows; the verdict waits for it.
                self._opened_t = event.t
                yield from self._next(event.t)

    def read(self, reading: Reading) -> Iterable[CommonEvent]:
        waits = reading.t - self._asked_t > STUCK_AFTER_S
        if not self._questioned and waits and not reading.overload:
            yield self._still_closed(reading.t)

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
        if not isinstance(command, Confirm):
            return
        if self._finished:
            yield self.end(t, self._outcome, command)
        elif self._wants_closed and self._opened_t is None and over_range_now(self.around):
            yield self.again(t, NO_PROOF)
        elif self._wants_closed or self._last_closed is None or self._reads_apart:
            yield self.again(t, "Nothing is held yet; keep the probes on.")
        elif not self._questioned:
            yield self._still_closed(t)
        else:
            position, assessment = self._asks[self._at][0], self._open.assess(self._last_closed)
            yield judged(self.step_id, self._last_closed, assessment, position=position)
            yield from self._fail(STUCK, t)

    @property
    def concludes_open(self) -> bool:
        return not self._finished and self._wants_closed and self._opened_t is None

    def said_open(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
        position = self._asks[self._at][0]
        yield self._over_range(t, t, Evidence.SAID, self._closed, position)
        yield self.end(t, NEVER, command, Evidence.SAID)

    @property
    def _reads_apart(self) -> bool:
        reading = self.around.reading
        return reading is None or reading.overload or self.around.stage is Stage.APART

    def _still_closed(self, t: float) -> CommonEvent:
        self._questioned = True
        position = self._asks[self._at][0]
        say = f"Still closed. Is the {self._part.name} in “{position}”? Then confirm."
        return self.ask(t, say, position)

    def corrected(self, value: float) -> float:
        return self._closed.correct(value)

    def meter(self, setting: Setting) -> None:
        self._assessors(self.around)

    def _assessors(self, around: StepContext) -> None:
        self._closed = around.context.assessor(self._part.criterion(closed=True))
        self._open = around.context.assessor(self._part.criterion(closed=False))
        self.aim = self._closed.aim()

    @property
    def _wants_closed(self) -> bool:
        return self._asks[self._at][1]

    def _held_closed(self, held: Held) -> Iterable[CommonEvent]:
        position = self._asks[self._at][0]
        assessment = self._closed.assess(held)
        if why := cannot_be(held, assessment):
            yield self.refuse(held.t, why)
            return
        verdict = judged(self.step_id, held, assessment, position=position)
        good = verdict.verdict is Verdict.IN_WINDOW
        if self._opened_t is not None and good and held.contact_t - self._opened_t < SLIP_S:
            yield from self._slipped(held)
            return
        if self._opened_t is not None and good:
            before = self._asks[self._at - 1][0]
            yield self._over_range(held.t, self._opened_t, Evidence.SAME_TOUCH, self._open, before)
        self._opened_t = None
        yield verdict
        self._last_closed = held
        if good:
            yield from self._next(held.t)
        else:
            yield from self._fail(NEVER, held.t)

    def _slipped(self, held: Held) -> Iterable[CommonEvent]:
        self._at -= 1
        self._opened_t = None
        self._last_closed = held
        self._asked_t, self._questioned = held.t, False
        position = self._asks[self._at][0]
        yield self.ask(
            held.t,
            f"A probe slipped. Keep both on, move the {self._part.name} to “{position}”.",
            position,
        )

    def _over_range(
        self, t: float, since: float, evidence: Evidence, assessor: Assessor, position: str
    ) -> CommonEvent:
        return judged_over_range(self.step_id, t, since, evidence, assessor, position=position)

    def _held_open(self, held: Held) -> Iterable[CommonEvent]:
        """A finite value where an open is due: leakage high enough, or not open at all."""
        if self._closed.assess(held).judgement.verdict is Verdict.IN_WINDOW:
            self._last_closed = held  # the switch has not moved yet, or is stuck: ``read`` asks
            return
        if held.revises:
            return  # a contact that moves under the probes is no switch that moved
        position = self._asks[self._at][0]
        verdict = judged(self.step_id, held, self._open.assess(held), position=position)
        yield verdict
        if verdict.verdict is Verdict.OPEN:
            yield from self._next(held.t)
        else:
            yield from self._fail(STUCK, held.t)

    def _fail(self, outcome: str, t: float) -> Iterable[CommonEvent]:
        self._outcome, self._finished = outcome, True
        yield self.ask(t, "Lift the probes.")

    def _next(self, t: float) -> Iterable[CommonEvent]:
        self._at += 1
        self._asked_t, self._questioned = t, False
        if self._at == len(self._asks):
            self._at -= 1
            self._finished = True
            yield self.ask(t, "Lift the probes.")
            return
        position, closed = self._asks[self._at]
        back = "back " if closed else ""
        yield self.ask(
            t, f"Keep the probes on. Move the {self._part.name} {back}to “{position}”.", position
        )
