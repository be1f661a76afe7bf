"""Steps that a person answers: cautions, entries, confirmations."""

import re
from collections.abc import Iterable
from typing import Final

from meterlink.bench.steps.base import StepContext, Worker
from meterlink.card.card import CautionStep, ConfirmationStep, EntryStep
from meterlink.card.profile import GapSetting, Profile, Torque
from meterlink.card.profile_parts import find_part
from meterlink.commands import AnyCommand, Confirm, Deny, Enter, How
from meterlink.errors import NotationError
from meterlink.events import BenchEvent, Entered, Held, TouchEvent
from meterlink.quantities.notation import Value, format_value, parse_quantity
from meterlink.quantities.text import plain
from meterlink.reading import Quantity
from meterlink.source import MeterSetup

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
_NUMBER: Final = re.compile(r"[+-]?\d+(?:[.]\d+)?")


class CautionWorker(Worker):
    """Waits until the cautions are acknowledged."""

    def __init__(self, step: CautionStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step

    def begin(self, t: float) -> Iterable[BenchEvent]:
        yield self.ask(t, self._step.say or "Read the cautions; confirm when they are met.")

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        if isinstance(command, Confirm):
            yield self.end(t, "acknowledged", command)


class ConfirmationWorker(Worker):
    """Waits for a yes or a no; a yes may need other steps first."""

    def __init__(self, step: ConfirmationStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step

    def begin(self, t: float) -> Iterable[BenchEvent]:
        yield self.ask(t, self._step.say or f"{self._step.title}: yes or no?")

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        answer = _answer(command)
        if answer is None:
            return
        if answer == "yes" and not self.around.progress.holds(self._step.requires):
            missing = self._missing()
            yield self.ask(t, f"Not yet: {missing} must be recorded first. Go back and do it.")
            return
        yield self.end(t, answer, command)

    def _missing(self) -> str:
        progress = self.around.progress
        for need in self._step.requires:
            if not progress.holds((need,)):
                return f"«{progress.card.find(need.step).title}» ({' or '.join(need.was)})"
        return ""


class EntryWorker(Worker):
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

    def begin(self, t: float) -> Iterable[BenchEvent]:
        say = self._step.say or f"Enter: {self._step.title}."
        yield self.ask(t, f"{say} {METHOD_WORDS[self._method]}" if self._method else say)

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        if self._step.takes != "temperature" or not isinstance(event, Held):
            return
        if event.unit != "celsius":
            return
        self._felt = event
        shown = format_value(event.value, "celsius", max(event.resolution, 0.1))
        yield self.ask(event.t, f"The meter reads {shown}. Sensor on the part? Confirm takes it.")

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        if isinstance(command, Confirm) and self._felt is not None:
            yield from self._measured(self._felt, command, t)
        elif isinstance(command, Confirm) and not self._step.required:
            yield self.end(t, "done", command)
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
            yield self.ask(t, f"{fault}.")

    def _temperature(self, text: str, command: Enter, t: float) -> Iterable[BenchEvent]:
        if text.lower() in ("", UNKNOWN):
            yield self._entered(t, UNKNOWN, command)
            yield self.end(t, UNKNOWN, command)
            return
        value = parse_quantity(text, default_unit="celsius")
        if value.unit != "celsius":
            raise NotationError(f"«{text}» is no temperature; type such as «19 °C» or «66 °F»")
        low, high = BENCH_TEMPERATURES
        if not low <= value.value <= high:
            yield self.ask(
                t,
                f"{value.value:.4g} °C is outside {low:g} to {high:g} °C; type the temperature of "
                f"the parts on the bench, or «{UNKNOWN}».",
            )
            return
        yield self._entered(t, text, command, value)
        yield self.end(t, "done", command)

    def _measured(self, felt: Held, command: Confirm, t: float) -> Iterable[BenchEvent]:
        low, high = BENCH_TEMPERATURES
        shown = format_value(felt.value, "celsius", max(felt.resolution, 0.1))
        if not low <= felt.value <= high:
            yield self.ask(
                t,
                f"{shown} is outside {low:g} to {high:g} °C, which parts on a bench have; see to "
                f"the sensor, type the temperature, or «{UNKNOWN}».",
            )
            return
        yield Entered(
            t=t,
            step=self.step_id,
            text=shown,
            value=felt.value,
            unit="celsius",
            who=command.who,
            when=command.when,
            how=How.PROBES.value,
        )
        yield self.end(t, "done", command)

    def _text(self, text: str, command: Enter, t: float) -> Iterable[BenchEvent]:
        if not text and self._step.required:
            yield self.ask(t, f"Please enter something: {self._step.title}.")
            return
        yield self._entered(t, text, command)
        yield self.end(t, "done", command)

    def _choice(self, text: str, command: Enter, t: float) -> Iterable[BenchEvent]:
        choices = self._step.choices
        fits = [choice for choice in choices if choice == text] or [
            choice for choice in choices if choice.lower().startswith(text.lower())
        ]
        if text.isdecimal() and 1 <= int(text) <= len(choices):
            fits = [choices[int(text) - 1]]
        if len(fits) != 1:
            yield self.ask(t, f"Choose one of: {', '.join(choices)}.")
            return
        yield self._entered(t, fits[0], command)
        yield self.end(t, fits[0], command)

    def _size(self, text: str, command: Enter, t: float) -> Iterable[BenchEvent]:
        part = find_part(self._step, self.around.profile)
        unit = "metre" if isinstance(part, GapSetting) else "newton-metre"
        value = parse_quantity(text)
        if value.unit != unit:
            example = (
                "0.25 mm» or «0.010 in"
                if isinstance(part, GapSetting)
                else "9.5 N·m» or «84 lbf·in"
            )
            raise NotationError(f"«{text}» needs its unit; type such as «{example}»")
        if value.overload or value.value < 0:
            raise NotationError(f"«{text}» is nothing that a {self._step.takes} can be")
        question = _unit_question(text, value, part) or _far_question(text, value, part)
        if question and text != self._insisted:
            self._insisted = text
            yield self.ask(t, question)
            return
        yield self._entered(t, text, command, value)
        outcome = "below" if value.value < part.low else "above"
        yield self.end(t, "in-window" if part.low <= value.value <= part.high else outcome, command)

    def _entered(self, t: float, text: str, command: Enter, value: Value | None = None) -> Entered:
        return Entered(
            t=t,
            step=self.step_id,
            text=text,
            value=None if value is None else value.value,
            unit="" if value is None else value.unit,
            who=command.who,
            when=command.when,
            how=command.how.value,
        )


def expected_method(profile: Profile) -> str:
    """Return how the profile's windings expect their temperature to be had; of several the best.

    Empty where none of them is judged at a temperature at all.
    """
    said = {winding.temperature for winding in profile.winding if winding.judged_by_resistance}
    return next((method for method in ("thermocouple", "ambient", "unknown") if method in said), "")


def _answer(command: AnyCommand) -> str | None:
    match command:
        case Confirm():
            return "yes"
        case Deny():
            return "no"
        case Enter():
            word = command.text.strip().lower()
            return {"y": "yes", "yes": "yes", "n": "no", "no": "no"}.get(word)
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
