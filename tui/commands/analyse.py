"""``meterlink analyse``: the engine over a capture or a plain readings file."""

import argparse
from typing import TYPE_CHECKING, Final

from tui.commands._gate import MARK, add_damaged_too, after_damage, pass_record

if TYPE_CHECKING:
    from collections.abc import Iterator

    from captures.record.readings_file import RecordSource
    from captures.record.verify import Verification
    from meterlink.bench.analysis import Analysis, HoldFacts

NAME: Final = "analyse"
HELP: Final = "hold and judge what a capture or a readings file contains"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the file and what to judge by."""
    from tui.session.assumed_options import add_assumed

    parser.add_argument("file", metavar="FILE", help="a capture, or CSV with t_s,value,unit")
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
    parser.add_argument("--accuracy", metavar="P%+N", help="of the meter, such as 0.8%%+3")
    parser.add_argument("--lead-zero", metavar="OHM", help="reading with the probes together")
    parser.add_argument("--temperature", metavar="C", help="of the winding, degrees Celsius")
    add_assumed(parser)
    add_damaged_too(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """Print each hold, then a summary."""
    from pathlib import Path

    from captures.record.readings_file import open_readings
    from meterlink.bench.analysis import Analysis

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
        import msgspec

        record = {} if check is None else {"record": check.state.value}
        whole = {"summary": msgspec.to_builtins(summary) | record} | record
        print(msgspec.json.encode(whole).decode())
    else:
        print(
            f"{summary.readings} readings, {summary.touches} touches, {summary.holds} holds, "
            f"{summary.dropped} readings dropped"
        )
    return 0


def _holds(
    args: argparse.Namespace, source: "RecordSource", analysis: "Analysis"
) -> "Iterator[HoldFacts]":
    from meterlink.reading import Reading
    from tui.session.judging_by import JudgingBy

    judging = JudgingBy(args, source.header)
    analysis.judge_by(judging.assessor(), judging.step)
    for record in source.records():
        if isinstance(record, Reading):
            yield from analysis.feed(record)
        elif judging.follow(record):
            analysis.judge_by(judging.assessor(), judging.step)
    yield from analysis.close()


def _print_json(facts: "HoldFacts", check: "Verification | None", damaged: bool) -> None:
    import msgspec

    said = msgspec.to_builtins(facts)
    if check is not None:
        said |= {"record": check.state.value, "after_damage": damaged}
    print(msgspec.json.encode(said).decode())


def _print_text(facts: "HoldFacts", _: "Verification | None", damaged: bool) -> None:
    from meterlink.quantities.notation import format_value, format_with_u
    from tui.announcing.signs import can_show
    from tui.announcing.teller import VERDICT_WORDS

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
