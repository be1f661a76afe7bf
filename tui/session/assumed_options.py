"""Options that replace what is assumed where nobody declared it, and the rule of decision."""

import argparse
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from meterlink.judging.assumed import Assumed
    from meterlink.judging.rule import Rule

_RULES: Final = ("simple", "guarded-acceptance", "guarded-rejection")


def add_assumed(parser: argparse.ArgumentParser) -> None:
    """Declare them on ``parser``."""
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
        choices=_RULES,
        help="rule of decision: by the best estimate (default), or guarded at 95 %% against "
        "accepting a bad part or rejecting a good one",
    )


def assumed_of(args: argparse.Namespace, under: "Assumed") -> "Assumed":
    """Return what the options say over what ``under`` says.

    Raises:
        UsageError: one of them makes no sense.
    """
    from meterlink.errors import NotationError, UsageError
    from meterlink.judging.assumed import Assumed
    from meterlink.quantities.given import parse_window
    from meterlink.quantities.units import Ohms, Volts

    low = high = None
    if args.leads is not None:
        window = parse_window(args.leads)
        if window.unit != "ohm" or window.high is None:
            raise UsageError("the leads assumed are two resistances, such as 0.1:0.3ohm")
        low, high = Ohms(window.low or 0.0), Ohms(window.high)
    try:
        said = Assumed(
            leads_at_least=low,
            leads_at_most=high,
            contact_at_most=None if args.contact is None else Ohms(_number(args.contact, "ohm")),
            thermal_emf=None if args.thermal_emf is None else Volts(_number(args.thermal_emf, "V")),
            offset_share=args.offset_share,
            drift=args.drift,
        )
    except NotationError as fault:
        raise UsageError(str(fault)) from None
    return said.over(under)


def rule_of(args: argparse.Namespace, else_: "Rule | None") -> "Rule":
    """Return the rule that the options name, else ``else_``, else simple acceptance."""
    from meterlink.judging.rule import Rule

    return Rule(args.rule) if args.rule else else_ or Rule.SIMPLE


def _number(text: str, unit: str) -> float:
    from meterlink.errors import UsageError
    from meterlink.quantities.notation import parse_as

    value = parse_as(text, unit)
    if value.overload:
        raise UsageError("what is assumed must be a number")
    return value.value
