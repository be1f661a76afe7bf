"""``meterlink analyse``: the engine over a capture or a plain readings file."""

import argparse
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import msgspec
from msgspec import structs

from captures.record.readings_file import RecordSource, open_readings
from captures.record.records import Header
from captures.record.replay import past_of
from captures.record.verify import Verification
from meterlink.bench.analysis import Analysis, HoldFacts
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
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.reading import Reading
from meterlink.source import Setting
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.worker import MeasurementContext
from tui import settings
from tui.announcing.signs import can_show
from tui.announcing.teller import VERDICT_WORDS
from tui.commands.judge import add_known, assumed_of, rule_of, typed_lead_zero, typed_number
from tui.commands.shared import (
    MARK,
    after_damage,
    damaged_too_option,
    json_option,
    pass_record,
    print_json,
)
from tui.settings import CARDS, PROFILES


def add_analyse(parser: argparse.ArgumentParser) -> None:
    """Declare the file and what to judge by."""
    parser.add_argument("file", metavar="FILE", help="a capture, or CSV: t_s,value,unit")
    parser.add_argument("--profile", metavar="P", help="coil profile; a capture brings its own")
    parser.add_argument(
        "--step",
        metavar="S",
        help="judge every touch for this step, or this winding, lead or switch of the profile; "
        "else a capture's own steps are followed",
    )
    parser.add_argument("--card", metavar="C", help="work card that has the step")
    parser.add_argument(
        "--window", metavar="LOW:HIGH", help="in place of profile and step, such as 0.7:1.0ohm"
    )
    add_known(parser)
    damaged_too_option(parser)
    json_option(parser)
    parser.set_defaults(run=_run_analyse)


def _run_analyse(args: argparse.Namespace) -> int:
    """Print each hold, then a summary."""
    source = open_readings(Path(args.file))
    analysis = Analysis()
    show = _print_json if args.json else _print_text
    try:
        check = None if source.header is None else pass_record(args, Path(args.file))
        bad = None if check is None else check.first_bad_line
        for facts in _holds(args, source, analysis):
            show(facts, check, after_damage(source.line, bad))
    finally:
        source.close()
    summary = analysis.summary
    summary.dropped += source.dropped
    if args.json:
        record = {} if check is None else {"record": check.state.value}
        whole = {"summary": msgspec.to_builtins(summary) | record} | record
        print_json(whole)
    else:
        print(
            f"{summary.readings} readings, {summary.touches} touches, {summary.holds} holds, "
            f"{summary.dropped} readings dropped"
        )
    return 0


def _holds(
    args: argparse.Namespace, source: RecordSource, analysis: Analysis
) -> Iterator[HoldFacts]:
    judging = JudgingBy(args, source.header)
    analysis.judge_by(judging.assessor(), judging.step)
    for record in source.records():
        if isinstance(record, Reading):
            yield from analysis.feed(record)
        elif judging.follow(record):
            analysis.judge_by(judging.assessor(), judging.step)
    yield from analysis.close()


def _print_json(facts: HoldFacts, check: Verification | None, damaged: bool) -> None:
    said = msgspec.to_builtins(facts)
    if check is not None:
        said |= {"record": check.state.value, "after_damage": damaged}
    print_json(said)


def _print_text(facts: HoldFacts, _: Verification | None, damaged: bool) -> None:
    sign = can_show("Ω")
    shown = format_value(facts.value, facts.unit, facts.resolution or None, ohm_sign=sign)
    judged = ""
    if facts.verdict is not None and facts.corrected is not None and facts.u is not None:
        value = format_with_u(facts.corrected, facts.u, facts.unit, ohm_sign=sign)
        sure = "clear" if facts.clear else f"close, {facts.probability:.0%}"
        judged = f"  {value}  {VERDICT_WORDS[facts.verdict]} ({sure})"
    if facts.refused:
        judged = f"  nothing is judged: {facts.refused}"
    step = f"{facts.step}: " if facts.step else ""
    mark, held = MARK if damaged else "", "now" if facts.revises else "held"
    shown = f"{held} {shown} from {facts.readings} readings"
    print(f"{facts.t_s:10.3f} s  {mark}{step}{shown}{judged}")


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
        brought = {} if header is None else header.settings
        self._profile: Profile | None = None
        if args.profile:
            self._profile = PROFILES.get(args.profile)
        elif "profile" in brought:
            self._profile = from_plain(brought["profile"], Profile, _HEADER)
        self._card: Card | None = None
        if args.card:
            self._card = CARDS.get(args.card)
        elif "card" in brought:
            self._card = from_plain(brought["card"], Card, _HEADER)
        known = settings.load()
        if self._profile is not None:
            self._profile = known.applied_to(self._profile)
        under = known.assumed if self._profile is None else self._profile.assumed
        self._assumed = assumed_of(args, under)
        self._rule = rule_of(args, known.rule if self._profile is None else self._profile.rule)
        self._accuracy: tuple[Accuracy, ...] = () if header is None else header.accuracy
        if args.accuracy is not None:
            self._accuracy = (parse_accuracy(args.accuracy),)
        self._lead_zero = typed_lead_zero(args.lead_zero)
        if self._lead_zero is None and header is not None and header.lead_zero is not None:
            self._lead_zero = LeadZero(value=header.lead_zero)
        celsius = typed_number(args.temperature, "celsius", "temperature")
        self._temperature = None if celsius is None else Temperature(celsius=celsius)
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
        criterion = self._criterion(self._step(self.step)) if self._follows else self._window
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
        step = self._step(self.step)
        named = step.winding if isinstance(step, MeasurementStep) else self.step
        return named or ""

    def _step(self, name: str | None) -> Step | None:
        steps: Iterable[Step] = () if self._card is None else self._card.step
        return next((step for step in steps if step.id == name), None)

    def _criterion(self, step: Step | None) -> Criterion | None:
        if step is None or self._profile is None:
            return None
        return step.criterion(self._profile, self._position)

    def _named(self, name: str) -> Criterion:
        if self._profile is None:
            raise UsageError("a step needs its profile; give --profile too, or --window instead")
        step = self._step(name)
        found = self._profile.criterion(name) if step is None else self._criterion(step)
        if found is None:
            profile = self._profile
            names = [w.name for w in profile.winding] + [s.name for s in profile.switch]
            raise UsageError(
                f"nothing to judge “{plain(name)}” by; the profile has: {', '.join(names)}"
            )
        return found
