"""Steps that a person answers: cautions, entries, confirmations."""

import re
from collections.abc import Iterable
from typing import ClassVar, Final, Literal, Never

from msgspec import structs

from meterlink.commands import AnyCommand, Confirm, Deny, Enter, How
from meterlink.errors import NotationError
from meterlink.events import CommonEvent, Held, TouchEvent
from meterlink.profile import GapSetting, Profile, Torque, named
from meterlink.quantities.notation import Value, format_value, parse_as, parse_quantity
from meterlink.quantities.text import chosen_of, plain, quoted
from meterlink.reading import Quantity
from meterlink.source import MeterSetup
from meterlink.steps.step import SKIPPED, StepBase, StepCondition, Words
from meterlink.steps.worker import StepContext, Worker

STANDING: Final = (
    "Ignition off, plug lead off the plug and earthed to the block.",
    "Engine cold. Springs, flywheels and starters store energy: keep hands and sleeves clear.",
    "Never test the resistance of a live circuit, and never crank with a meter connected.",
    "Secondary voltage injures and stops pacemakers: with one, stay away from a running engine.",
    "Fuel and vapour are at hand: no sparks, heat guns or lamps near an open tank or line.",
    "The engine maker's service manual and local rules come before this program, and licensed "
    "practice where the law asks for it.",
)
"""Cautions that every card begins with, acknowledged before readings count."""

UNKNOWN: Final = "unknown"
"""What to type where a temperature is not known."""

BENCH_TEMPERATURES: Final = (-20.0, 60.0)
"""Degrees Celsius that a workshop can have; anything else is a slip of the finger."""

METHOD_WORDS: Final = {
    "ambient": "Parts that have lain in a room for an hour or two have its temperature.",
    "thermocouple": "A thermocouple on the laminations does it too: turn the meter to temperature.",
    "unknown": "The windings' own cannot be had on this engine; it stays unknown, and is allowed "
    "for.",
}
"""How the temperature of the windings is expected to be had, by the word in the profile."""

FAR: Final = 5.0
"""A gap or torque so many times its window away is asked about once."""

TORQUE_UNITS: Final = ("N·m", "lbf·in", "lbf·ft", "kgf·m")
LENGTH_UNITS: Final = ("mm", "in", "thou")
_NUMBER: Final = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


class CautionStep(StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="caution"):
    """Cautions, acknowledged before the card goes on."""

    lines: tuple[Words, ...] = ()
    """Cautions of this card alone, shown after the standing ones."""

    answered: ClassVar[bool] = True

    @property
    def outcomes(self) -> frozenset[str]:
        """Every outcome that it can end with; it is the one kind that cannot be skipped."""
        return frozenset({"acknowledged"})

    def worker(self, around: StepContext) -> "CautionWorker":
        return CautionWorker(self, around)


class ConfirmationStep(
    StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="confirmation"
):
    """Something to do or to look at, answered yes or no."""

    good: Literal["yes", "no"] = "yes"
    """Which answer is the good one."""
    requires: tuple[StepCondition, ...] = ()
    """Without these a yes is refused: no sign-off before the stop check."""
    signs_off: bool = False
    """A yes to this step signs the job off."""

    answered: ClassVar[bool] = True

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({"yes", "no", SKIPPED})

    def is_good(self, outcome: str, profile: Profile | None) -> bool | None:
        """Return whether the answer is the good one; a signature is neither."""
        return None if self.signs_off else outcome == self.good

    def worker(self, around: StepContext) -> "ConfirmationWorker":
        return ConfirmationWorker(self, around)


class EntryStep(StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="entry"):
    """A number with unit, a text or a choice that a person gives."""

    takes: Literal["text", "choice", "temperature", "gap", "torque"]
    choices: tuple[str, ...] = ()
    """For ``choice``: the answers, which are also the outcomes."""
    of: str = ""
    """For ``gap`` and ``torque``: the name of the entry in the profile."""
    required: bool = True
    """False: may be left empty."""

    answered: ClassVar[bool] = True

    @property
    def outcomes(self) -> frozenset[str] | None:
        """Every outcome that it can end with; None where any text can be one."""
        match self.takes:
            case "text":
                return None
            case "choice":
                own = {*self.choices, SKIPPED}
            case "temperature":
                own = {"done", UNKNOWN, SKIPPED}
            case _:
                own = {"below", "in-window", "above", SKIPPED}
        return frozenset(own if self.required else {*own, "done"})

    @property
    def fault(self) -> str:
        if self.takes == "choice" and len(set(self.choices)) < 2:
            return ".choices: a choice needs at least two different answers"
        if self.takes in ("gap", "torque") and not self.of:
            return f".of: name the [[{self.takes}]] of the profile"
        return ""

    @property
    def wants(self) -> tuple[str, str] | None:
        """Table and name of its entry in the profile, where it takes a gap or torque."""
        return (self.takes, self.of) if self.takes in ("gap", "torque") else None

    def part(self, profile: Profile) -> GapSetting | Torque:
        """Return the gap or torque of ``profile`` that it takes.

        Raises:
            KeyError: there is none.
        """
        if self.takes == "gap":
            return named(profile.gap, self.of)
        return named(profile.torque, self.of)

    def limits(self, profile: Profile | None) -> GapSetting | Torque | None:
        """Return the same; None where it takes neither, or ``profile`` has no such entry."""
        if profile is None or self.wants is None or profile.lacks(*self.wants):
            return None
        return self.part(profile)

    def outcome_words(self, outcome: str) -> str:
        """Return an outcome in words; a choice is in the words of the card already."""
        return outcome if self.takes == "choice" else super().outcome_words(outcome)

    def is_good(self, outcome: str, profile: Profile | None) -> bool | None:
        """Return whether a gap or torque is in its window."""
        return outcome == "in-window" if self.takes in ("gap", "torque") else None

    def worker(self, around: StepContext) -> "EntryWorker":
        return EntryWorker(self, around)


class CautionWorker(Worker[Never]):
    """Waits until the cautions are acknowledged."""

    def __init__(self, step: CautionStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step

    def begin(self, t: float) -> Iterable[CommonEvent]:
        yield self.ask(t, self._step.say or "Read the cautions; confirm when they are met.")

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
        if isinstance(command, Confirm):
            yield self.end(t, "acknowledged", command)


class ConfirmationWorker(Worker[Never]):
    """Waits for a yes or a no; a yes may need other steps first."""

    def __init__(self, step: ConfirmationStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step

    def begin(self, t: float) -> Iterable[CommonEvent]:
        yield self.ask(t, self._step.say or f"{self._step.title}: yes or no?")

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
        answer = _answer(command)
        if answer is None and isinstance(command, Enter):
            yield self.again(t, f"{quoted(command.text)} is neither yes nor no.")
        elif answer == "yes" and not self.around.progress.holds(self._step.requires):
            missing = self._missing()
            yield self.again(t, f"Not yet: {missing} must be recorded first. Go back and do it.")
        elif answer is not None:
            yield self.end(t, answer, command)

    def _missing(self) -> str:
        progress = self.around.progress
        for need in self._step.requires:
            if not progress.holds((need,)):
                return f"“{progress.title(need.step)}” ({' or '.join(need.was)})"
        return ""


class EntryWorker(Worker[Never]):
    """Takes a temperature, a gap, a torque, a text or a choice."""

    def __init__(self, step: EntryStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._insisted = ""
        """A text whose unit was asked about once; typed again, it is meant."""
        self._felt: Held | None = None
        """What a thermocouple at the meter says, where the step takes a temperature."""
        self._method = expected_method(around.profile) if step.takes == "temperature" else ""
        if self._method == "thermocouple":
            self.setup = MeterSetup(quantity=Quantity.TEMPERATURE)

    def begin(self, t: float) -> Iterable[CommonEvent]:
        say = self._step.say or f"Enter: {self._step.title}."
        if self._method:
            say = f"{say} {METHOD_WORDS[self._method]}"
        yield self.ask(t, say, answers=self._step.choices)

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent]:
        if self._step.takes != "temperature" or not isinstance(event, Held):
            return
        if event.unit != "celsius":
            return
        self._felt = event
        shown = format_value(event.value, "celsius", max(event.resolution, 0.1))
        yield self.again(event.t, f"The meter reads {shown}. Sensor on the part? Confirm takes it.")

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent]:
        if isinstance(command, Confirm) and self._felt is not None:
            yield from self._measured(self._felt, command, t)
        elif isinstance(command, Confirm) and not self._step.required:
            yield self.end(t, "done", command)
        elif isinstance(command, Confirm):
            yield self.again(t, "That takes an entry.")
        if not isinstance(command, Enter):
            return
        text = plain(command.text.strip())
        try:
            match self._step.takes:
                case "temperature":
                    yield from self._temperature(text, command, t)
                case "choice":
                    yield from self._choice(text, command, t)
                case "text":
                    yield from self._text(text, command, t)
                case "gap" | "torque":
                    yield from self._size(text, command, t)
        except NotationError as fault:
            yield self.again(t, f"{fault}.")

    def _temperature(self, text: str, command: Enter, t: float) -> Iterable[CommonEvent]:
        if text.lower() in _WORDS and _WORDS[text.lower()] == "yes" and self._felt is not None:
            yield from self._measured(self._felt, command, t)
            return
        if text.lower() == UNKNOWN:
            yield self.entered(t, command, UNKNOWN)
            yield self.end(t, UNKNOWN, command)
            return
        value = parse_as(text, "celsius")
        low, high = BENCH_TEMPERATURES
        if not low <= value.value <= high:
            yield self.again(
                t,
                f"Type {low:g} to {high:g} °C, or “{UNKNOWN}”: {value.value:.4g} °C is no bench "
                "temperature.",
            )
            return
        yield self.entered(t, command, text, value.value, value.unit)
        yield self.end(t, "done", command)

    def _measured(self, felt: Held, command: Confirm | Enter, t: float) -> Iterable[CommonEvent]:
        low, high = BENCH_TEMPERATURES
        shown = format_value(felt.value, "celsius", max(felt.resolution, 0.1))
        if not low <= felt.value <= high:
            yield self.again(
                t,
                f"Check the sensor: {shown} is outside {low:g} to {high:g} °C. Type the "
                f"temperature, or “{UNKNOWN}”.",
            )
            return
        by_probes = structs.replace(command, how=How.PROBES)
        yield self.entered(t, by_probes, shown, felt.value, "celsius")
        yield self.end(t, "done", command)

    def _text(self, text: str, command: Enter, t: float) -> Iterable[CommonEvent]:
        if not text and self._step.required:
            yield self.again(t, "It cannot be left empty.")
            return
        yield self.entered(t, command, text)
        yield self.end(t, "done", command)

    def _choice(self, text: str, command: Enter, t: float) -> Iterable[CommonEvent]:
        chosen, why = chosen_of(self._step.choices, text)
        if why:
            yield self.again(t, why)
            return
        yield self.entered(t, command, chosen)
        yield self.end(t, chosen, command)

    def _size(self, text: str, command: Enter, t: float) -> Iterable[CommonEvent]:
        part = self._step.part(self.around.profile)
        unit = "metre" if isinstance(part, GapSetting) else "newton-metre"
        value = parse_as(text, unit, bare=False)
        if value.overload or value.value < 0:
            raise NotationError(f"“{text}” is nothing that a {self._step.takes} can be")
        question = _unit_question(text, value, part) or _far_question(text, value, part)
        if question and text != self._insisted:
            self._insisted = text
            yield self.again(t, question)
            return
        yield self.entered(t, command, text, value.value, value.unit)
        outcome = "below" if value.value < part.low else "above"
        yield self.end(t, "in-window" if part.low <= value.value <= part.high else outcome, command)


def expected_method(profile: Profile) -> str:
    """Return how the profile's windings expect their temperature to be had; of several the best.

    Empty where none of them is judged at a temperature at all.
    """
    said = {winding.temperature for winding in profile.winding if winding.judged_by_resistance}
    return next((method for method in ("thermocouple", "ambient", "unknown") if method in said), "")


_WORDS: Final = {"y": "yes", "yes": "yes", "n": "no", "no": "no"}


def _answer(command: AnyCommand) -> str | None:
    match command:
        case Confirm():
            return "yes"
        case Deny():
            return "no"
        case Enter():
            return _WORDS.get(command.text.strip().lower())
    return None


def _unit_question(text: str, value: Value, part: GapSetting | Torque) -> str:
    """Ask whether another unit was meant, where that unit would fit the window and this one not."""
    number = _NUMBER.match(text)
    if part.low <= value.value <= part.high or number is None:
        return ""
    for unit in LENGTH_UNITS if isinstance(part, GapSetting) else TORQUE_UNITS:
        meant = parse_quantity(f"{number[0]} {unit}")
        if part.low <= meant.value <= part.high:
            window = (
                f"{format_value(part.low, value.unit)} to {format_value(part.high, value.unit)}"
            )
            return (
                f"{text} is outside {window}; was {number[0]} {unit} "
                f"({format_value(meant.value, meant.unit)}) meant? Type it again with its unit."
            )
    return ""


def _far_question(text: str, value: Value, part: GapSetting | Torque) -> str:
    """Ask whether a value is meant that no slip of a unit explains, and no fastener bears."""
    if part.low / FAR <= value.value <= part.high * FAR:
        return ""
    window = f"{format_value(part.low, value.unit)} to {format_value(part.high, value.unit)}"
    return f"{text} is far outside {window}. Type it again the same if it is meant."
