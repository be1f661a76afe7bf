"""What the screen knows, folded from events and looks on the screen's own thread.

The engine lives on the reading thread and is never looked at from here: everything comes in as
``Update``. Nothing in here knows of widgets, so the fold is tested without a screen.
"""

from collections import deque
from math import isfinite
from typing import ClassVar, Final

from meterlink.bench.bench import Snapshot
from meterlink.bench.progress import Progress
from meterlink.bench.steps.assessors import MeasurementContext
from meterlink.card.card import (
    CautionStep,
    ConfirmationStep,
    EntryStep,
    LeadZeroStep,
    MeasurementStep,
    Step,
    SwitchStep,
)
from meterlink.card.profile import Profile
from meterlink.card.profile_parts import left_out, left_out_words, steps_on, was_left_out
from meterlink.events import (
    Asked,
    BenchEvent,
    CardEnded,
    Contact,
    Dropout,
    Gap,
    Held,
    Judged,
    Lift,
    MeterChecked,
    MeterFlags,
    MeterSet,
    SoakPoint,
    StepBegan,
    StepEnded,
    StepReopened,
    Zeroed,
)
from meterlink.hold.stages import Stage
from meterlink.judging.assess import Assessment
from meterlink.judging.criterion import Criterion
from meterlink.quantities.window import Window
from meterlink.reading import Quantity
from meterlink.source import Accuracy, Setting
from tui.announcing.forms import Phase
from tui.screen.history import History

KEPT: Final = 200
"""So many dropouts and soak points are kept for the eye; the record has them all."""

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
        self.dropouts: deque[Dropout] = deque(maxlen=KEPT)
        self.soak: deque[SoakPoint] = deque(maxlen=KEPT)
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
        if isinstance(self.step, CautionStep | EntryStep | ConfirmationStep):
            return True
        asked = self.asked
        return asked is not None and bool(asked.answers or "?" in asked.say)

    @property
    def dropout_count(self) -> int:
        """Dropouts of this step so far, with those before a break."""
        current = self.progress.current
        return 0 if current is None else self.progress.results[current].dropouts

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
            case MeterChecked():
                self._fulfilled = True
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
                self.dropouts.clear()
                self.soak.clear()
            case StepEnded() if not was_left_out(event):
                self.ended = (
                    event  # what the engine lacks was never begun, nor can it be taken back
                )
            case StepReopened():
                self.ended = self.judged = None
                self._fulfilled = False
            case CardEnded():
                self.asked = self.held = self.judged = None
                self._fulfilled = False
            case Dropout():
                self.dropouts.append(event)
            case SoakPoint():
                self.soak.append(event)
            case _:
                pass

    def _take_verdict(self, judged: Judged) -> None:
        self.judged = self.newest = judged
        self.assessment = None
        self._fulfilled = isinstance(self.step, MeasurementStep)
        if judged.corrected is not None and isfinite(judged.corrected):
            self.history.mark(judged.t, judged.corrected)
        held, look = self.held, self.look
        if held is not None and look is not None and look.criterion is not None:
            bearings = MeasurementContext(
                self._accuracy, self.progress, self._setting, self.profile
            )
            self.assessment = bearings.assessor(look.criterion).assess(held)
            self.assessed_unit = judged.unit

    def _take_setting(self, event: MeterSet) -> None:
        self.lost = "; ".join((*event.lost, *(event.cautions or ())))
        self._setting = Setting(
            quantity=Quantity(event.quantity) if event.quantity else None,
            range=event.range,
            four_wire=event.four_wire,
            integration_s=event.integration_s,
            resolution=event.resolution,
            lost=event.lost,
            flags=event.flags or (),
            cautions=event.cautions or (),
        )

    def _asks_to_lift(self, asked: Asked) -> bool:
        """A switch check names a position for as long as the probes are to stay on."""
        return isinstance(self.step, SwitchStep) and self.held is not None and not asked.position
