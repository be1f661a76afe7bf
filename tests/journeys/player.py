"""What a person does at each step of a card: hands, words, and now and then a slip."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Protocol

from meterlink.card import Card, Step
from meterlink.circuit.engine import connector
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.repair import RepairStep
from meterlink.steps.soak import SoakStep
from meterlink.steps.switch import SwitchStep
from meterlink.steps.watch import WatchStep
from tests.journeys.cues import Cues
from tests.journeys.engines import Patient, ohms, places_of
from tests.journeys.hands import Hands

PATIENCE_S: Final = 9.0
"""Of the bench's time: a person waits so long for a value before they try something else."""
TRIES: Final = 5
RESISTOR: Final = 4700.0


class Face(Protocol):
    """A way to tell the program something."""

    def tell(self, command: str, text: str = "") -> None:
        """Give a command: confirm, deny, redo, skip, back, zero, open, leave; or enter."""


@dataclass
class Habits:
    """How a person works: whom they leave out, what slips, what is done twice."""

    no_spark: bool = True
    slips: frozenset[str] = frozenset()
    """Each happens once, at the first step that allows it."""
    again: str = ""
    """``back`` or ``redo`` after every step, once each; or neither."""
    nonsense: tuple[str, ...] = ()
    """Typed at every step before the real answer."""
    whole_soak: bool = False
    stop_before: int = -1
    """Leave the player at this many steps, for a kill; -1 for never."""
    done: list[str] = field(default_factory=list)
    """Slips that did happen."""


SLIPS: Final = (
    "wrong-pair",
    "slipped",
    "fingers",
    "wrong-range",
    "switch-late",
    "lifted-early",
)
ZERO_SKIPPED: Final = "zero-skipped"
"""The lead zero is forgotten."""
ZERO_ON_WORK: Final = "zero-on-work"
"""The probes on the primary where the lead zero is asked for: it is of the size of leads."""


TAPPED_ON_IT: Final = "tapped-on-it"
"""With a wrong range: the over range that it gives is shown to be no lifted probe."""


class Player:
    """Works one card through one face, from wherever it stands."""

    def __init__(
        self,
        face: Face,
        hands: Hands,
        cues: Cues,
        card: Card,
        patient: Patient,
        habits: Habits,
    ) -> None:
        self.face, self.hands, self.cues = face, hands, cues
        self.card, self.patient, self.habits = card, patient, habits
        self.rng = random.Random(patient.seed)
        self.said: dict[str, str] = {}
        """What the person answered, by step, where the answer is the outcome."""
        self.steps = 0
        self.gave_up: list[str] = []
        self.hasty: list[str] = []
        """Verdicts that came of a confirm with nothing held; there should be none."""
        self._again: set[str] = set()

    def play(self) -> None:
        """Go on until the card is done, or ``stop_before`` steps were."""
        while True:
            self.cues.until(lambda: bool(self.cues.current and self.cues.asked) or self.cues.ended)
            if self.cues.ended or self.steps == self.habits.stop_before:
                return
            step = self.card.find(self.cues.current)
            self.steps += 1
            for text in self.habits.nonsense:
                self.nonsense(step, text)
            self.do(step)
            self._do_again(step)

    def nonsense(self, step: Step, text: str) -> None:
        """Type something that no step can make sense of; nothing may come of it."""
        if isinstance(step, EntryStep) and step.takes == "text":
            return
        self.face.tell("enter", text)

    def _do_again(self, step: Step) -> None:
        """Take a step back, or do it again, once each."""
        if not self.habits.again or step.id in self._again or self.cues.ended:
            return
        self._again.add(step.id)
        self.cues.until(lambda: bool(self.cues.current and self.cues.asked) or self.cues.ended)
        if self.cues.ended:
            return
        there = self.card.find(self.cues.current)
        if self.habits.again == "redo" and isinstance(there, CautionStep):
            return  # the screen has no redo for what is only read
        mark = self.cues.look()
        self.face.tell(self.habits.again)
        self.cues.until(lambda: bool(self.cues.after(mark, "step-reopened", "asked")))

    def do(self, step: Step) -> None:
        """Do one step to its end; skip it where it will not end."""
        work: dict[type, Callable[[Step], None]] = {
            CautionStep: lambda step: self._say(step, "confirm"),
            EntryStep: self._enter,
            RepairStep: lambda step: self._say(step, "enter", "nothing"),
            ConfirmationStep: self._answer,
            LeadZeroStep: self._zero,
            MeterCheckStep: self._check_meter,
            MeasurementStep: self._measure,
            SwitchStep: self._switch,
            WatchStep: self._watch,
            SoakStep: self._soak,
        }
        for _ in range(TRIES):
            if not self._open(step):
                return
            self._mend_zero(step)
            work[type(step)](step)
            if self._ended(step, 1.0):
                return
        self.gave_up.append(step.id)
        self.hands.lift()
        self._say(step, "skip", "the player gave up")

    def _mend_zero(self, step: Step) -> None:
        """Where the bench says that the lead zero cannot be right, take it again."""
        if not any("take the lead zero again" in e["say"] for e in self.cues.after(-3, "asked")):
            return
        mark = self.cues.look()
        self.hands.lift()
        self.hands.together(0.5)
        if self._came(step, mark, "hold"):
            self._say(step, "zero")
        self.hands.lift(0.3)

    def _open(self, step: Step) -> bool:
        self.cues.look()
        return self.cues.current == step.id

    def _ended(self, step: Step, seconds: float = PATIENCE_S) -> bool:
        return self.cues.until(lambda: self.cues.current != step.id, seconds)

    def _slip(self, kind: str) -> bool:
        """Return whether ``kind`` is to happen now; each happens once."""
        if kind not in self.habits.slips or kind in self.habits.done:
            return False
        self.habits.done.append(kind)
        return True

    def _came(self, step: Step, mark: int, *kinds: str, seconds: float = PATIENCE_S) -> bool:
        def came() -> bool:
            return bool(self.cues.after(mark, *kinds)) or self.cues.current != step.id

        return self.cues.until(came, seconds) and bool(self.cues.after(mark, *kinds))

    # --- words --------------------------------------------------------------------------------

    def _say(self, step: Step, command: str, text: str = "") -> None:
        """Say something, and wait until the bench has said what it makes of it."""
        mark = self.cues.look()

        def answered() -> bool:
            return self.cues.current != step.id or bool(self.cues.after(mark, "told", "asked"))

        for _ in range(TRIES):  # a key pressed while the page changes is left out: press it again
            self.face.tell(command, text)
            if self.cues.until(answered, real_s=40.0):
                return

    def _enter(self, step: Step) -> None:
        assert isinstance(step, EntryStep)
        answer = self.answer(step)
        if step.takes == "choice":
            self.said[step.id] = answer
        self._say(step, "enter", answer)

    def answer(self, step: EntryStep) -> str:
        """Return what is right to type at ``step``."""
        unseen = self.patient.engine.unseen
        match step.takes:
            case "temperature":
                return f"{self.patient.ambient:g} °C"
            case "gap" | "torque":
                entries = getattr(self.patient.profile, step.takes)
                entry = next(e for e in entries if e.name == step.of)
                if step.takes == "torque":
                    return f"{(entry.low + entry.high) / 2:.3g} N·m"
                middle = 1e3 * (entry.low + entry.high) / 2
                return f"{unseen.gap_mm if step.of == 'armature' else middle:.3g} mm"
            case "choice":
                seen = {
                    "plug-condition": unseen.plug,
                    "flywheel-key": unseen.flywheel_key,
                    "magnet-pull": unseen.pull,
                    "magnet-cracks": "none" if unseen.cracks == "none" else "some",
                }.get(step.check, "")
                return seen if seen in step.choices else step.choices[0]
            case _:
                return "pump set 7, rescue club"

    def _answer(self, step: Step) -> None:
        assert isinstance(step, ConfirmationStep)
        answer = step.good
        if step.check == "spark-at-gap" and self.habits.no_spark:
            answer = "no"
        self.said[step.id] = answer
        self._say(step, "confirm" if answer == "yes" else "deny")

    # --- hands --------------------------------------------------------------------------------

    def _zero(self, step: Step) -> None:
        if self._slip(ZERO_SKIPPED):
            self._say(step, "skip", "forgotten")
            return
        mark = self.cues.look()
        self.hands.lift()
        if self._slip(ZERO_ON_WORK):
            self.hands.put("primary terminal", "laminations", 0.3)  # not the tips at all
            self.hands.lift(2.5)
            self.hands.together(3.2)
        else:
            self.hands.together(0.4)
        if self._came(step, mark, "lead-zero"):
            self.hands.lift(0.3)
            self._ended(step)

    def _check_meter(self, step: Step) -> None:
        mark = self.cues.look()
        if "Type a known resistor" in self.cues.asked.get("say", ""):
            self._say(step, "enter", "4.7 kohm 1%")
        self.hands.hold_resistor(RESISTOR)
        if self._came(step, mark, "meter-checked"):
            self.hands.lift(0.3)
            if not self._ended(step, 3.0):
                self._say(step, "confirm")  # failed, and so it stands

    def _measure(self, step: Step) -> None:
        red, black = places_of(step, self.patient.profile)
        self._range_slip(step, red, black)
        if not self._open(step):
            return
        mark = self.cues.look()
        self.hands.lift()
        self._slip_before(red, black)
        self.hands.put(red, black, 0.5)
        if self._slip("slipped"):
            self.hands.lift(0.9)
            self.hands.put(red, black, 1.4)
        if self._slip("lifted-early"):
            self.hands.lift(0.75)
            self.hands.put(red, black, 2.5)
        if self._came(step, mark, "verdict"):
            self.hands.lift(0.3)
        elif self._open(step):
            self._say_open(red, black)
        self._ended(step, 5.0)

    def _slip_before(self, red: str, black: str) -> None:
        if self._slip("wrong-pair"):
            self.hands.put(red, "armature case", 0.3)
            self.hands.lift(2.0)
            self.cues.until(lambda: False, 3.0)
        if self._slip("fingers"):
            self.hands.grip(4e5, 0.2)
            self.hands.grip(after=2.2)
            self.cues.until(lambda: False, 3.0)

    def _range_slip(self, step: Step, red: str, black: str) -> None:
        """Measure on a range that ends below the value, press on, and only then see to the dial."""
        value = ohms(self.patient.engine, red, black)
        low = 10.0 ** (math.ceil(math.log10(value / 2)) - 1) if 50.0 < value < math.inf else 0.0
        if not low or not self._slip("wrong-range"):
            return
        self.hands.dial(low, 0.3)
        self.hands.put(red, black, 0.5)
        self.cues.until(lambda: False, 4.0)
        self._hasty()
        if self._slip(TAPPED_ON_IT):
            self.cues.until(lambda: not self._open(step), self.hands.tap_put_tap(red, black))
            if not self._open(step):
                return
        self.hands.lift()
        self.hands.dial(after=0.2)
        self.cues.until(lambda: False, 1.0)

    def _say_open(self, red: str, black: str) -> None:
        """Nothing conducts: show that the leads do, before and after."""
        if self.habits.slips and self.rng.random() < 0.3:
            self._hasty()
        takes = self.hands.tap_put_tap(red, black)
        step = self.card.find(self.cues.current)
        self.cues.until(lambda: not self._open(step), takes)
        if self._open(step):
            self._never_closes(step, red, black)  # taps show nothing here

    def _hasty(self) -> None:
        """Confirm with nothing held: no open may be concluded from it."""
        step, mark = self.card.find(self.cues.current), self.cues.look()
        self._say(step, "confirm")
        self.hasty += [e["verdict"] for e in self.cues.after(mark, "verdict")]

    def _switch(self, step: Step) -> None:
        assert isinstance(step, SwitchStep)
        red, black = places_of(step, self.patient.profile)
        for other in self.patient.engine.switch:
            out = other.name != step.switch or step.id.endswith("-unplugged")
            self.hands.move(connector(other.name), "off" if out else "on")
        self.hands.lift()
        self.hands.put(red, black, 0.4)
        for _ in range(12):
            if not self._open(step):
                break
            position, mark = self.cues.asked.get("position", ""), self.cues.look()
            if not position:
                self.hands.lift(0.3)
                self._ended(step, 5.0)
                break
            late = 2.5 if self._slip("switch-late") else 0.4
            there = self.hands.world.condition.position(step.switch, self.patient.engine)
            if there != position:
                self.hands.move(step.switch, position, late)
            elif "onfirm" in self.cues.asked["say"] or not mark:
                self._say(step, "confirm")
            if not self._came(step, mark, "asked", seconds=11.0 + late):
                break
        if self._open(step) and self.cues.asked.get("position"):
            self._never_closes(step, red, black)

    def _never_closes(self, step: Step, red: str, black: str) -> None:
        """It cannot be shown by taps: say so, with the tips on bare metal."""
        self.hands.put(red, black)
        self.cues.until(lambda: False, 1.5)
        self._call_open(step)

    def _call_open(self, step: Step) -> None:
        mark = self.cues.look()
        self._say(step, "open")
        if self._came(step, mark, "asked") and self.cues.asked.get("answers"):
            self._say(step, "enter", self.cues.asked["answers"][-1])

    def _watch(self, step: Step) -> None:
        assert isinstance(step, WatchStep)
        red, black = places_of(step, self.patient.profile)
        for at, switch in enumerate(self.patient.engine.switch):
            wanted = step.expect if at == 0 else "open"
            self.hands.move(connector(switch.name), "on")
            position = next(p for p, s in switch.positions.items() if s == wanted)
            self.hands.move(switch.name, position)
        mark = self.cues.look()
        self.hands.lift()
        self.hands.put(red, black, 0.4)
        self.cues.until(lambda: False, 1.5)
        if step.expect == "open":
            self._say(step, "confirm")
        if self._came(step, mark, "asked"):
            self.hands.flex(step.lasts * 0.8)
            self._ended(step, step.lasts + 15.0)
        elif self._open(step):  # open from the start
            self._call_open(step)
        self.hands.lift()

    def _soak(self, step: Step) -> None:
        assert isinstance(step, SoakStep)
        red, black = places_of(step, self.patient.profile)
        mark = self.cues.look()
        self.hands.lift()
        self.hands.put(red, black, 0.4)
        if not self._came(step, mark, "soak-point"):
            if self._open(step) and "Logging" not in self.cues.asked.get("say", ""):
                self._say(step, "skip", "open: there is nothing to be logged")
            return
        self.hands.warm(70.0, 300.0)
        if self.habits.whole_soak:
            self.hands.clock.speed *= 20
            self._ended(step, step.lasts + 30.0)
            self.hands.clock.speed /= 20
        else:
            self.cues.until(lambda: False, 25.0)
            self._say(step, "confirm")
        self.hands.lift()
