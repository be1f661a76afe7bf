"""What an analysis judges by: a window or step given, or the steps that a capture records."""

import argparse
from collections.abc import Iterable
from typing import Final

from msgspec import structs

from captures.record.records import Header
from captures.record.replay import past_of
from meterlink.bench.progress import Progress
from meterlink.card import Card, Step
from meterlink.declared import from_plain
from meterlink.errors import UsageError
from meterlink.events import Asked, Event, MeterSet, StepBegan, Zeroed
from meterlink.judging.accuracy import Accuracy, parse_accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.correction import LeadZero, Temperature
from meterlink.judging.criterion import Criterion
from meterlink.meter_state import setting_of
from meterlink.profile import Profile
from meterlink.quantities.given import parse_window
from meterlink.quantities.notation import parse_as
from meterlink.quantities.plausible import BELOW_ZERO
from meterlink.quantities.text import plain
from meterlink.source import Setting
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.worker import MeasurementContext
from tui.session.assumed_options import assumed_of, rule_of
from tui.settings import configuration
from tui.settings.shelf import CARDS, PROFILES


def typed_lead_zero(text: str) -> LeadZero:
    """Return the lead zero that ``text`` says, such as ``0.12`` or ``120 mohm``.

    Raises:
        UsageError: no resistance, an over range, or far less than nothing.
    """
    typed = parse_as(text, "ohm")
    if typed.overload:
        raise UsageError("the lead zero must be a number: hold the probes together and read again")
    if typed.value < BELOW_ZERO:
        raise UsageError(
            f"{plain(text, 40)} is no lead zero: no leads have less than no resistance"
        )
    return LeadZero(value=typed.value, resolution=typed.resolution, typed=True)


_HEADER: Final = "the capture's header"
_TELLING: Final = (StepBegan, Asked, Zeroed, MeterSet)
"""Events after which something else may be judged by, or in another way."""


class JudgingBy:
    """Follows a record and gives the assessor of the moment."""

    def __init__(self, args: argparse.Namespace, header: Header | None) -> None:
        """Take what the user gave, and else what the capture brings.

        Raises:
            MeterlinkError: something given makes no sense, or there is no such step.
        """
        settings = {} if header is None else header.settings
        self._profile: Profile | None = None
        if args.profile:
            self._profile = PROFILES.get(args.profile)
        elif "profile" in settings:
            self._profile = from_plain(settings["profile"], Profile, _HEADER)
        self._card: Card | None = None
        if args.card:
            self._card = CARDS.get(args.card)
        elif "card" in settings:
            self._card = from_plain(settings["card"], Card, _HEADER)
        known = configuration.load()
        if self._profile is not None:
            self._profile = known.applied_to(self._profile)
        under = known.assumed if self._profile is None else self._profile.assumed
        self._assumed = assumed_of(args, under)
        self._rule = rule_of(args, known.rule if self._profile is None else self._profile.rule)
        self._accuracy = _accuracy(args.accuracy, header)
        self._lead_zero = _lead_zero(args.lead_zero, header)
        self._temperature = _temperature(args.temperature)
        self._progress = None if self._card is None else Progress(self._card)
        if self._progress is not None and header is not None:
            self._progress.apply_all(past_of(header, _HEADER))
        self._setting = Setting() if header is None else header.setting or Setting()
        self._window: Criterion | None = None
        self._follows = not args.window and not args.step
        self.step: str | None = args.step
        self._position = ""
        if args.window:
            self._window = Criterion.given(
                parse_window(args.window), temperature_known=self._temperature is not None
            )
            self.step = None
        elif args.step:
            self._window = self._named(args.step)

    def follow(self, event: Event) -> bool:
        """Take an event of the record; return whether the assessor has changed."""
        if self._progress is not None:
            self._progress.apply(event)
        match event:
            case StepBegan() if self._follows:
                self.step, self._position = event.step, ""
            case Asked() if self._follows:
                self._position = event.position
            case MeterSet():
                self._setting = setting_of(event)
        return isinstance(event, _TELLING)

    def assessor(self) -> Assessor | None:
        """Return what holds are judged by now; None where nothing is known to judge by."""
        criterion = self._window if not self._follows else self._current()
        if criterion is None:
            return None
        context = MeasurementContext(self._accuracy, setting=self._setting)
        if self._progress is not None:
            context = self._progress.context(self._accuracy, self._setting, self._profile)
        return structs.replace(
            context,
            lead_zero=self._lead_zero or context.lead_zero,
            temperature=self._temperature or context.temperature,
            assumed=self._assumed,
            rule=self._rule,
            windings=() if self._profile is None else self._profile.winding,
        ).assessor(criterion, self._part())

    def _part(self) -> str:
        """Return the part of the profile that is judged now, or what was named as such."""
        steps = () if self._card is None else self._card.step
        step = next((step for step in steps if step.id == self.step), None)
        named = step.winding if isinstance(step, MeasurementStep) else self.step
        return named or ""

    def _current(self) -> Criterion | None:
        if self._card is None or self.step is None:
            return None
        step = next((step for step in self._card.step if step.id == self.step), None)
        return None if step is None else self._criterion(step)

    def _criterion(self, step: Step) -> Criterion | None:
        return None if self._profile is None else step.criterion(self._profile, self._position)

    def _named(self, name: str) -> Criterion:
        if self._profile is None:
            raise UsageError("a step needs its profile; give --profile too, or --window instead")
        steps: Iterable[Step] = () if self._card is None else self._card.step
        step = next((step for step in steps if step.id == name), None)
        found = self._profile.criterion(name) if step is None else self._criterion(step)
        if found is None:
            profile = self._profile
            names = [w.name for w in profile.winding] + [s.name for s in profile.switch]
            raise UsageError(
                f"nothing to judge «{plain(name)}» by; the profile has: {', '.join(names)}"
            )
        return found


def _accuracy(given: str | None, header: Header | None) -> tuple[Accuracy, ...]:
    if given is not None:
        return (parse_accuracy(given),)
    return () if header is None else header.accuracy


def _lead_zero(given: str | None, header: Header | None) -> LeadZero | None:
    if given is not None:
        return typed_lead_zero(given)
    if header is None or header.lead_zero is None:
        return None
    return LeadZero(value=header.lead_zero)


def _temperature(given: str | None) -> Temperature | None:
    return None if given is None else Temperature(celsius=parse_as(given, "celsius").value)
