"""``meterlink judge``: a typed reading through the same correction, budget and verdict."""

import argparse
import re
from collections.abc import Iterator
from math import floor, inf, log10
from typing import Any, Final

from meterlink.errors import NotationError, UsageError
from meterlink.events import Evidence, Held
from meterlink.judging.accuracy import parse_accuracy
from meterlink.judging.advice import why_implausible
from meterlink.judging.assess import Assessment, Assessor
from meterlink.judging.assumed import Assumed
from meterlink.judging.correction import LeadZero, Temperature, require_sensible
from meterlink.judging.criterion import Criterion, Rule
from meterlink.judging.verdict import RULES
from meterlink.quantities.given import parse_window
from meterlink.quantities.notation import Value, format_value, format_with_u, parse_as
from meterlink.quantities.text import plain
from meterlink.quantities.units import BELOW_ZERO, Ohms, Volts
from meterlink.quantities.window import Window
from meterlink.source import Setting
from meterlink.steps.worker import MeasurementContext
from meterlink.wording import component_words, decision_words, others_words, window_words
from tui import settings
from tui.announcing.signs import can_show
from tui.commands.shared import json_option, print_json

_KINDS: Final = ("winding", "part", "closed", "open")


def add_judge(parser: argparse.ArgumentParser) -> None:
    """Declare the reading, the window, and what is known of meter, leads and temperature."""
    # What argparse itself does from Python 3.14 on: -4k7 is a value, not an option.
    parser._negative_number_matcher = re.compile(r"-\.?[0-9R]")
    parser.add_argument(
        "value", metavar="VALUE", help="as the meter shows it: 0.842, 4k7, 0R82, 5.1 kohm, OL"
    )
    parser.add_argument(
        "--window", required=True, metavar="LOW:HIGH", help="such as 0.7:1.0ohm, 4k:7kohm, :2ohm"
    )
    parser.add_argument(
        "--as",
        dest="kind",
        choices=_KINDS,
        default="winding",
        help="what is measured: a copper winding (default), another part, a switch that should "
        "be closed or one that should be open",
    )
    parser.add_argument(
        "--range", metavar="OHM", dest="full_scale", help="end of the range that the meter is on"
    )
    parser.add_argument(
        "--resolution", metavar="OHM", help="step of the last digit; else as VALUE is written"
    )
    parser.add_argument(
        "--four-wire", action="store_true", help="measured with four wires: no leads to take off"
    )
    parser.add_argument(
        "--temperature-within",
        metavar="K",
        type=float,
        default=2.0,
        help="how far off the temperature may be, kelvins (default 2)",
    )
    parser.add_argument(
        "--reference-temperature",
        metavar="C",
        help="that the limits hold for (20 where only --temperature is given)",
    )
    add_known(parser)
    json_option(parser, text="one JSON object")
    parser.set_defaults(run=_run_judge)


def _run_judge(args: argparse.Namespace) -> int:
    """Judge and print; the verdict does not change the exit code."""
    window = parse_window(args.window)
    value = parse_as(args.value, window.unit)
    assessor = _assessor(args, window, value)
    held = _held(value, _resolution(args, value))
    if held is None:  # typed: whether the tips did touch is the word of whoever types it
        assessment = assessor.assess_over_range(Evidence.SAID)
    else:
        assessment = assessor.assess(held)
        refused = why_implausible(held.value, held.unit, held.resolution)
        if not refused and assessment.judgement.impossible:
            refused = assessment.judgement.advice
        if refused:
            raise UsageError(f"nothing is judged: {refused}")
    if args.json:
        print_json(_facts(value, assessment))
    else:
        print("\n".join(_lines(value, _resolution(args, value), assessor.criterion, assessment)))
    return 0


def _assessor(args: argparse.Namespace, window: Window, value: Value) -> Assessor:
    known = settings.load()
    if window.unit != "ohm" and (args.lead_zero or args.temperature or args.four_wire):
        raise UsageError("lead zero, four wires and temperature belong to a resistance in ohm")
    resolution = _resolution(args, value)
    temperature = typed_number(args.temperature, "celsius", "temperature")
    reference = typed_number(args.reference_temperature, "celsius", "reference temperature")
    if reference is not None:
        require_sensible(reference)
    return MeasurementContext(
        () if args.accuracy is None else (parse_accuracy(args.accuracy),),
        typed_lead_zero(args.lead_zero),
        None
        if temperature is None
        else Temperature(celsius=temperature, half_width=args.temperature_within),
        Setting(
            range=typed_number(args.full_scale, window.unit, "range"),
            four_wire=args.four_wire,
            resolution=resolution,
        ),
        assumed=assumed_of(args, known.assumed),
        rule=rule_of(args, known.rule),
    ).assessor(_criterion(args.kind, window, reference, temperature))


def _criterion(
    kind: str, window: Window, reference: float | None, temperature: float | None
) -> Criterion:
    if kind == "closed":
        if window.low is not None or window.high is None:
            raise UsageError("a closed switch has only a highest value; give --window :2ohm")
        return Criterion.closed(window.high)
    if kind == "open":
        if window.low is None or window.high is not None:
            raise UsageError("an open switch has only a lowest value; give --window 1M:")
        return Criterion.open(window.low)
    if kind == "part":
        return Criterion.part(window)
    return Criterion.given(window, reference=reference, temperature_known=temperature is not None)


def _resolution(args: argparse.Namespace, value: Value) -> float:
    given = typed_number(args.resolution, value.unit, "resolution")
    if given is None:
        return value.resolution
    if given <= 0:
        raise UsageError("the resolution is the step of the last digit, more than zero")
    return given


def _held(value: Value, resolution: float) -> Held | None:
    """Return the typed value as a hold of one reading, None for an over range."""
    if value.overload:
        return None
    return Held(
        t=0.0,
        contact_t=0.0,
        value=value.value,
        unit=value.unit,
        readings=1,
        noise=0.0,
        resolution=resolution,
        u=0.0,
        dof=inf,
    )


def _facts(value: Value, assessment: Assessment) -> dict[str, Any]:
    judgement = assessment.judgement
    decided = judgement.decided
    return {
        "value": None if value.overload else value.value,
        "unit": value.unit,
        "corrected": assessment.corrected,
        "u": None if value.overload else assessment.expanded,
        "interval": assessment.interval,
        "verdict": judgement.verdict,
        "probability": judgement.probability,
        "clear": judgement.clear,
        "limit": judgement.limit,
        "advice": judgement.advice,
        "notes": assessment.notes,
        "rule": judgement.rule,
        "decision": decided.decision,
        "risk": decided.risk,
        "rules": RULES,
        "budget": assessment.budget.components,
    }


def _lines(
    value: Value, resolution: float, criterion: Criterion, assessment: Assessment
) -> Iterator[str]:
    sign = can_show("Ω")

    def written(number: float, resolution: float | None = None) -> str:
        return format_value(number, value.unit, resolution, ohm_sign=sign)

    judgement = assessment.judgement
    sure = "clear" if judgement.clear else "close"
    codes = {verdict.value: share for verdict, share in judgement.probabilities.items()}
    others = "" if judgement.clear else others_words(judgement.verdict, codes)
    yield f"{judgement.verdict.value}: {sure}, {_percent(judgement.probability)}{others}"
    yield f"  as read      {written(value.value, resolution)}"
    if assessment.corrected is not None:
        at = f", at {criterion.reference:g} °C" if criterion.reference is not None else ""
        with_u = format_with_u(assessment.corrected, assessment.expanded, value.unit, ohm_sign=sign)
        yield f"  corrected    {with_u}  (95 %{at})"
    yield f"  limits       {window_words(criterion, ohm_sign=sign)}"
    decided = judgement.decided
    yield f"  decision     {decision_words(judgement.rule, decided.decision, decided.risk)}"
    if judgement.advice:
        yield judgement.advice
    yield from assessment.notes
    total = assessment.budget.u
    if total:
        yield "Standard uncertainty"
        for line in sorted(assessment.budget.components, key=lambda c: -c.u):
            share = (line.u / total) ** 2
            said = component_words(line)
            yield f"  {said:<36}{written(line.u, _two_digits(line.u)):>12}{share:>7.0%}"
        yield f"  {'together':<36}{written(total, _two_digits(total)):>12}"


def _percent(probability: float) -> str:
    """Return ``probability`` in percent, never rounded up to certainty."""
    if probability > 0.999:
        return "over 99.9 %"
    return f"{100 * probability:.1f} %" if probability > 0.001 else "under 0.1 %"


def _two_digits(u: float) -> float:
    return 10.0 ** (floor(log10(u)) - 1)


# --- what judge and analyse both are told ---------------------------------------------------------


def add_known(parser: argparse.ArgumentParser) -> None:
    """Declare what is known of meter, leads and winding, what is assumed else, and the rule."""
    parser.add_argument("--accuracy", metavar="P%+N", help="of the meter, such as 0.8%%+3")
    parser.add_argument("--lead-zero", metavar="OHM", help="reading with the probes together")
    parser.add_argument("--temperature", metavar="C", help="of the winding, degrees Celsius")
    group = parser.add_argument_group("what is assumed where nobody declared it")
    group.add_argument(
        "--leads", metavar="LOW:HIGH", help="leads that were not taken off (else 0:0.5ohm)"
    )
    group.add_argument(
        "--contact", metavar="OHM", help="most that the tips add on the work (else 0.01)"
    )
    group.add_argument(
        "--thermal-emf", metavar="V", help="thermal voltage, either way (else 5uV, at 1 mA)"
    )
    group.add_argument(
        "--offset-share",
        metavar="SHARE",
        type=float,
        help="share of the meter's counts that a lead zero of the same range takes out (else 0.67)",
    )
    group.add_argument(
        "--drift",
        metavar="SHARE",
        type=float,
        help="share of its accuracy that the meter moves since the lead zero (else 0.1)",
    )
    parser.add_argument(
        "--rule",
        choices=[rule.value for rule in Rule],
        help="rule of decision: by the best estimate (default), or guarded at 95 %% against "
        "accepting a bad part or rejecting a good one",
    )


def assumed_of(args: argparse.Namespace, under: Assumed) -> Assumed:
    """Return what the options say over what ``under`` says.

    Raises:
        UsageError: one of them makes no sense.
    """
    low = high = None
    if args.leads is not None:
        window = parse_window(args.leads)
        if window.unit != "ohm" or window.high is None:
            raise UsageError("the leads assumed are two resistances, such as 0.1:0.3ohm")
        low, high = Ohms(window.low or 0.0), Ohms(window.high)
    contact = typed_number(args.contact, "ohm", "resistance of the tips")
    thermal = typed_number(args.thermal_emf, "V", "thermal voltage")
    try:
        said = Assumed(
            leads_at_least=low,
            leads_at_most=high,
            contact_at_most=None if contact is None else Ohms(contact),
            thermal_emf=None if thermal is None else Volts(thermal),
            offset_share=args.offset_share,
            drift=args.drift,
        )
    except NotationError as fault:
        raise UsageError(str(fault)) from None
    return said.over(under)


def rule_of(args: argparse.Namespace, known: Rule | None) -> Rule:
    """Return the rule that the options name, else the one ``known``, else simple acceptance."""
    return Rule(args.rule) if args.rule else known or Rule.SIMPLE


def typed_lead_zero(text: str | None) -> LeadZero | None:
    """Return the lead zero that ``text`` says, such as ``0.12`` or ``120 mohm``.

    Raises:
        UsageError: no resistance, an over range, or far less than nothing.
    """
    if text is None:
        return None
    typed = parse_as(text, "ohm")
    if typed.overload:
        raise UsageError("the lead zero must be a number: hold the probes together and read again")
    if typed.value < BELOW_ZERO:
        raise UsageError(
            f"{plain(text, 40)} is no lead zero: no leads have less than no resistance"
        )
    return LeadZero(value=typed.value, resolution=typed.resolution, typed=True)


def typed_number(text: str | None, unit: str, what: str) -> float | None:
    """Return the value of ``what`` in ``unit`` that ``text`` says; None where nothing was typed.

    Raises:
        UsageError: it is an over range.
        NotationError: it is no value in this unit.
    """
    if text is None:
        return None
    value = parse_as(text, unit)
    if value.overload:
        raise UsageError(f"the {what} must be a number")
    return value.value
