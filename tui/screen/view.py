"""What the screen knows, folded from events and looks on the screen's own thread.

The engine lives on the reading thread and is never looked at from here: everything comes in as
``Update``. Nothing in here knows of widgets, so the fold is tested without a screen.
"""

from collections import deque
from collections.abc import Iterator
from math import isfinite
from typing import ClassVar, Final

import msgspec

from meterlink.bench.progress import Progress
from meterlink.bench.snapshot import Snapshot
from meterlink.card import BenchEvent, Step, left_out, left_out_words, steps_on, was_left_out
from meterlink.events import (
    Asked,
    CardEnded,
    Contact,
    Gap,
    Held,
    Judged,
    Lift,
    MeterFlags,
    MeterSet,
    StepBegan,
    StepEnded,
    StepEvent,
    StepReopened,
    Zeroed,
)
from meterlink.hold.contact import Stage
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessment
from meterlink.judging.criterion import Criterion
from meterlink.meter_state import setting_of
from meterlink.profile import Profile
from meterlink.quantities.window import Window
from meterlink.source import Setting
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.switch import SwitchStep
from tui.announcing.forms import Phase

SPAN_S: Final = 60.0
POINTS: Final = 240
_BUCKET_S: Final = SPAN_S / POINTS
_MARKS: Final = 32


class Bucket(msgspec.Struct):
    """What was seen in a quarter of a second."""

    t: float
    """Seconds since the start of the capture, of the bucket's begin."""
    low: float
    high: float
    over: bool
    """Nothing but over range was seen."""


class HoldMark(msgspec.Struct, frozen=True):
    """A hold."""

    t: float
    value: float


class History:
    """Values and holds of the last minute."""

    def __init__(self) -> None:
        self._buckets: deque[Bucket] = deque(maxlen=POINTS + 1)
        self._marks: deque[HoldMark] = deque(maxlen=_MARKS)
        self.now = 0.0
        """Time of the newest value."""

    def add(self, t: float, value: float | None) -> None:
        """Take a value at ``t``; None or infinite is over range."""
        begin = t - t % _BUCKET_S
        over = value is None or not isfinite(value)
        seen = 0.0 if value is None or over else value
        if t < self.now - SPAN_S:  # a new capture: time begins again
            self.clear()
        self.now = t
        last = self._buckets[-1] if self._buckets else None
        if last is None or begin != last.t:
            self._buckets.append(Bucket(begin, seen, seen, over))
        elif last.over and not over:
            last.low, last.high, last.over = seen, seen, False
        elif not over:
            last.low, last.high = min(last.low, seen), max(last.high, seen)

    def mark(self, t: float, value: float) -> None:
        """Remember a hold at ``t``."""
        self._marks.append(HoldMark(t, value))

    def clear(self) -> None:
        """Forget everything."""
        self._buckets.clear()
        self._marks.clear()
        self.now = 0.0

    def runs(self) -> Iterator[tuple[list[float], list[float]]]:
        """Yield ages (seconds before now, at most zero) and values, cut where over range was."""
        ages: list[float] = []
        values: list[float] = []
        for bucket in self._buckets:
            age = bucket.t - self.now
            if age < -SPAN_S:
                continue
            if bucket.over:
                if ages:
                    yield ages, values
                ages, values = [], []
                continue
            for value in dict.fromkeys((bucket.low, bucket.high)):
                ages.append(age)
                values.append(value)
        if ages:
            yield ages, values

    def marks(self) -> list[HoldMark]:
        """Return the holds of the last minute, with ages for times."""
        ages = (HoldMark(mark.t - self.now, mark.value) for mark in self._marks)
        return [mark for mark in ages if mark.t >= -SPAN_S]


KEPT: Final = 200
"""So many events of a step's own kind are kept for the eye; the record has them all."""

_PHASES: Final = {
    Stage.APART: Phase.OFF,
    Stage.CONTACT: Phase.CONTACT,
    Stage.SETTLING: Phase.SETTLING,
    Stage.HELD: Phase.HELD,
}


class View:
    """The bench as the screen knows it."""

    back: ClassVar[bool] = True
    """Whether a step that ended can be taken back."""

    def __init__(
        self, progress: Progress, profile: Profile, accuracy: tuple[Accuracy, ...] = ()
    ) -> None:
        """Begin where ``progress`` stands; it is kept up to date from here on."""
        self.progress = progress
        self.profile = profile
        self.steps = steps_on(progress.card, profile)
        """The steps of the card that this engine has."""
        self.left_out = left_out_words(left_out(progress.card, profile))
        """What the card looks at and this engine lacks, in one line; empty where it lacks none."""
        self._accuracy = accuracy
        self._setting: Setting | None = None
        self.look: Snapshot | None = None
        self.held: Held | None = None
        """The hold of the current touch."""
        self.judged: Judged | None = None
        """The newest verdict, until the next touch or the next step begins."""
        self.newest: Judged | None = None
        """The newest verdict, however long ago."""
        self.ended: StepEnded | None = None
        """The step that ended last, while it can still be taken back at a glance."""
        self.asked: Asked | None = None
        self.assessment: Assessment | None = None
        """How sure the newest verdict is, and why; None where it rests on no hold."""
        self.assessed_unit = "ohm"
        self.away = ""
        """Why no reading comes; empty while they do."""
        self.lost = ""
        """What was asked of the meter and could not be had."""
        self.own: deque[StepEvent] = deque(maxlen=KEPT)
        """What the current step's own kind made happen since it began, oldest first."""
        self.history = History()
        self._fulfilled = False

    @property
    def step(self) -> Step | None:
        """The current step; None before the card began and after it ended."""
        current = self.progress.current
        return None if current is None else self.progress.card.find(current)

    @property
    def phase(self) -> Phase:
        """Where the current touch stands."""
        if self.look is None:
            return Phase.OFF
        phase = _PHASES[self.look.stage]
        return Phase.LIFT if phase is Phase.HELD and self._fulfilled else phase

    @property
    def judged_here(self) -> Judged | None:
        """The newest verdict, as long as no other position of the switch is asked for since."""
        wanted = "" if self.asked is None else self.asked.position
        judged = self.judged
        return None if judged is not None and wanted not in ("", judged.position) else judged

    @property
    def answers(self) -> tuple[str, ...]:
        """What the bench's own question can be answered with; empty where it asks none."""
        return () if self.asked is None or self.progress.ended else self.asked.answers

    @property
    def waits(self) -> bool:
        """Whether a question stands that a person is to answer, rather than the probes."""
        if self.step is not None and self.step.answered:
            return True
        asked = self.asked
        return asked is not None and bool(asked.answers or "?" in asked.say)

    @property
    def remaining_s(self) -> float | None:
        """Seconds until a step that runs by its own clock is done; None where none runs."""
        return None if self.look is None else self.look.remaining_s

    @property
    def criterion(self) -> Criterion | None:
        """What the present value is looked at by; for the leads, that they are no more than so."""
        step = self.step
        if isinstance(step, LeadZeroStep):
            return Criterion.part(Window(0.0, step.at_most))
        look = self.look
        if look is None or step is None or look.step != step.id:
            return None  # a look from before the step began has the limits of another
        return look.criterion

    def see(self, look: Snapshot) -> None:
        """Take a look."""
        self.look = look
        reading = look.reading
        if reading is not None and reading.value == reading.value:  # not-a-number tells nothing
            shown = look.corrected if look.corrected is not None else reading.value
            self.history.add(reading.t, None if reading.overload else shown)

    def take(self, event: BenchEvent) -> None:
        """Take an event, oldest first."""
        self.progress.apply(event)
        match event:
            case Contact():
                self.held = self.judged = self.ended = None
                self._fulfilled = False
            case Held():
                self.held = event
            case Lift():
                self.held, self._fulfilled = None, False
            case Gap():
                self.held, self._fulfilled = None, False
                self.away = event.why if event.until is None else ""
            case Judged():
                self._take_verdict(event)
            case StepEvent():
                self._fulfilled |= event.fulfils
                self.own.append(event)
            case Zeroed():
                self._fulfilled = isinstance(self.step, LeadZeroStep)
                self.history.mark(event.t, event.value)
            case Asked():
                self.asked = event
                self._fulfilled |= self._asks_to_lift(event)
            case MeterSet():
                self._take_setting(event)
            case MeterFlags():
                self.lost = "; ".join((*event.blocks, *event.cautions))
            case _:
                self._take_step(event)

    def _take_step(self, event: BenchEvent) -> None:
        match event:
            case StepBegan():
                # What an earlier step saw does not stand beside the limits of this one.
                self.held = self.judged = None
                self._fulfilled = False
                if self.asked is not None and self.asked.step != event.step:
                    self.asked = None
                self.own.clear()
            case StepEnded() if not was_left_out(event):
                # What the engine lacks was never begun, nor can it be taken back.
                self.ended = event
            case StepReopened():
                self.ended = self.judged = None
                self._fulfilled = False
            case CardEnded():
                self.asked = self.held = self.judged = None
                self._fulfilled = False
            case _:
                pass

    def _take_verdict(self, judged: Judged) -> None:
        self.judged = self.newest = judged
        self.assessment = None
        self._fulfilled = self.step is not None and self.step.one_touch
        if judged.corrected is not None and isfinite(judged.corrected):
            self.history.mark(judged.t, judged.corrected)
        held, look = self.held, self.look
        if held is not None and look is not None and look.criterion is not None:
            context = self.progress.context(self._accuracy, self._setting, self.profile)
            self.assessment = context.assessor(look.criterion).assess(held)
            self.assessed_unit = judged.unit

    def _take_setting(self, event: MeterSet) -> None:
        self.lost = "; ".join((*event.lost, *(event.cautions or ())))
        self._setting = setting_of(event)

    def _asks_to_lift(self, asked: Asked) -> bool:
        """A switch check names a position for as long as the probes are to stay on."""
        return isinstance(self.step, SwitchStep) and self.held is not None and not asked.position
