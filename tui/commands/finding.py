"""``meterlink finding``: what a job's outcomes together say, and which check tells most next."""

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import msgspec

from captures.job.across_jobs import confirmed_repairs
from captures.job.card_progress import JobSettings, card_progress
from meterlink.bench.progress import Progress
from meterlink.declared import LARGEST_FILE
from meterlink.errors import UnreadableError, UsageError
from meterlink.finding.cards import told_by_cards
from meterlink.finding.find import Later, find
from meterlink.finding.finding import Finding
from meterlink.finding.outcomes import Outcome
from meterlink.finding.shape import FaultTable
from meterlink.finding.table import read_counts, read_table, shipped_table, table_mistakes
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.wording import counted, percent
from tui.commands.shared import damaged_too_option, jobs_option, json_option, pass_job, print_json
from tui.session.setup import job_store
from tui.settings import CARDS

TABLE: Final = "table"
COUNTS: Final = "counts"
DRAWS: Final = 24
"""How often the judged numbers are doubled or halved, to say how firm the finding is."""


def add_finding(parser: argparse.ArgumentParser) -> None:
    """Declare the job, what to add to it, and the fault table."""
    parser.add_argument(
        "job",
        nargs="?",
        metavar="JOB",
        help=f"name or folder of a job; or the word “{TABLE}”, to show and check a fault table; or "
        f"“{COUNTS}”, for how many jobs ended with which repair, as --counts takes it",
    )
    parser.add_argument(
        "file", nargs="?", metavar="FILE", help=f"after “{TABLE}”: the fault table to check"
    )
    jobs_option(parser)
    parser.add_argument("--table", metavar="FILE", help="a fault table of your own")
    parser.add_argument(
        "--counts",
        metavar="FILE",
        help="jobs of the workshop that ended with a confirmed repair, by complaint and fault",
    )
    parser.add_argument("--complaint", help="what the engine came in with, such as no-spark")
    parser.add_argument(
        "--outcome",
        dest="said",
        type=lambda text: ("outcome", text),
        action="append",
        default=[],
        metavar="CHECK=OUTCOME",
        help="an outcome beside those of the job; may be given several times, also for one check "
        "that was repeated",
    )
    parser.add_argument(
        "--mended",
        dest="said",
        type=lambda text: ("mended", text),
        action="append",
        metavar="PLACE",
        help="a place that was put right, such as armature; outcomes given after it are of the "
        "mended engine",
    )
    parser.add_argument(
        "--switch",
        action="append",
        default=[],
        metavar="CHECK",
        help="a stop switch that the engine has, such as brake-switch; may be given several times",
    )
    damaged_too_option(parser)
    json_option(parser)
    parser.set_defaults(run=_show)


def _show(args: argparse.Namespace) -> int:
    """Show the finding, or a fault table; 1 where the table has mistakes."""
    if args.job == TABLE:
        return _show_table(args)
    if args.job == COUNTS:
        return _show_counts(args)
    if args.file is not None:
        raise UsageError(
            f"“{plain(args.file)}” is one argument too many; only “{TABLE}” takes a file"
        )
    if args.job is None and not args.said:
        raise UsageError("name a job, or give at least one --outcome CHECK=OUTCOME")
    cards: list[Progress] = []
    profiles: list[Profile] = []
    record = {}
    if args.job is not None:
        job = job_store(args.jobs).job(args.job)
        record = {"record": pass_job(args, job).state.value}
        settings = JobSettings.read(job)
        cards = list(card_progress(job, settings, CARDS.get))
        profiles = list(settings.profiles.values())
    said, later = _said(args.said)
    told = told_by_cards(cards, profiles)
    complaint, table = _complaint(args.complaint, cards), fault_table(args.table)
    found = find(
        told.outcomes | said if not told.later else told.outcomes,
        complaint,
        table=table,
        counts=_counts(args.counts, table).get(complaint),
        parts=(*told.parts, *args.switch),
        later=_after_the_cards(told.later, said, later),
        draws=DRAWS,
    )
    if args.json:
        print_json(record | msgspec.to_builtins(found))
    else:
        print("\n".join(_lines(found)))
    return 0


def _counts(path: str | None, table: FaultTable) -> dict[str, dict[str, int]]:
    """Return the counted jobs in the file at ``path``, by complaint and fault."""
    return {} if path is None else read_counts(_read(path), path, table)


def _complaint(given: str | None, cards: list[Progress]) -> str:
    for complaint in (given, *(progress.card.complaint for progress in cards)):
        if complaint:
            return complaint
    raise UsageError("no card of this job names a complaint; give --complaint, such as no-spark")


def _said(given: list[tuple[str, str]]) -> tuple[dict[str, Outcome], list[Later]]:
    """Return the outcomes before any mend, and each mend with the outcomes after it."""
    stages: list[tuple[tuple[str, ...], dict[str, list[str]]]] = [((), {})]
    for kind, text in given:
        if kind == "outcome":
            check, outcome = _outcome(text)
            stages[-1][1].setdefault(check, []).append(outcome)
        elif stages[-1][0] and not stages[-1][1]:
            stages[-1] = ((*stages[-1][0], text), {})
        else:
            stages.append(((text,), {}))
    said: list[dict[str, Outcome]] = [dict(outcomes) for _, outcomes in stages]
    later = [
        Later(mended=mended, outcomes=outcomes)
        for (mended, _), outcomes in zip(stages[1:], said[1:], strict=True)
    ]
    return said[0], later


def _after_the_cards(
    mended: tuple[Later, ...], said: dict[str, Outcome], later: list[Later]
) -> list[Later]:
    """Return every mend: those of the cards first, and to the last what was said before the rest.

    What is said beside a job is of the engine as it stands now.
    """
    if not mended:
        return later
    *earlier, last = mended
    return [*earlier, Later(mended=last.mended, outcomes={**last.outcomes, **said}), *later]


def _outcome(text: str) -> tuple[str, str]:
    check, equals, outcome = text.partition("=")
    if not (check and equals and outcome):
        raise UsageError(f"“{plain(text)}” is no outcome; give such as spark-at-gap=no")
    return check.strip(), outcome.strip()


def _lines(found: Finding) -> Iterator[str]:
    yield from found.sentences
    names = [" and ".join(one.places) for one in found.sets]
    width = max(map(len, ("places at fault, and no others", *names)))
    yield ""
    yield f"{'places at fault, and no others':<{width}}  probability"
    for name, one in zip(names, found.sets, strict=True):
        yield f"{name:<{width}}  {percent(one.probability):>11}"
    width = max(len(fault.say) for fault in found.faults)
    yield ""
    yield f"{'fault, alone or beside another':<{width}}  probability"
    for fault in found.faults:
        yield f"{fault.say:<{width}}  {percent(fault.probability):>11}"
    if found.next:
        says = [check.say + (", again" if check.again else "") for check in found.next]
        width = max(map(len, says))
        yield ""
        yield f"{'next check':<{width}}   bits    min  parts"
        for say, check in zip(says, found.next, strict=True):
            numbers = f"{check.bits:5.2f}  {check.minutes:5.0f}  {check.parts:5.0f}"
            yield f"{say:<{width}}  {numbers}"
    if found.unsaid:
        yield ""
        yield f"Left out, as they were skipped or could not tell: {', '.join(found.unsaid)}."


def fault_table(path: str | None) -> FaultTable:
    """Return the fault table in the file at ``path``, or the one that ships."""
    return shipped_table() if path is None else read_table(_read(path), path)


def _read(path: str) -> bytes:
    try:
        with Path(path).open("rb") as file:
            return file.read(LARGEST_FILE + 1)
    except OSError as fault:
        raise UnreadableError(f"{plain(path)} cannot be read: {fault.strerror or fault}") from fault


def _show_counts(args: argparse.Namespace) -> int:
    counts = confirmed_repairs(job_store(args.jobs).jobs(), CARDS.get)
    if args.json:
        print_json(counts)
        return 0
    many = sum(faults.total() for faults in counts.values())
    print(
        f"# {counted(many, 'confirmed repair')}, by complaint and fault; nothing else is in here."
    )
    for complaint, faults in sorted(counts.items()):
        print(f"\n[{complaint}]")
        print("\n".join(f"{fault} = {count}" for fault, count in sorted(faults.items())))
    return 0


def _show_table(args: argparse.Namespace) -> int:
    path = args.file or args.table
    if path is None:
        table = shipped_table()
    else:
        data = _read(path)
        mistakes = table_mistakes(data, path)
        if mistakes:
            for mistake in mistakes:
                print_json({"mistake": mistake}) if args.json else print(mistake)
            return 1
        table = read_table(data, path)
    if args.json:
        print_json(table)
    else:
        print("\n".join(_table_lines(table)))
    return 0


def _table_lines(table: FaultTable) -> Iterator[str]:
    yield f"{table.title}: {len(table.faults)} faults, {len(table.checks)} checks, no mistakes"
    for complaint, words in table.complaints.items():
        total = sum(fault.prior.get(complaint, 0.0) for fault in table.faults.values())
        yield ""
        yield f"{complaint}: {words}"
        for name, fault in table.faults.items():
            if complaint in fault.prior:
                touched = {*fault.gives, *fault.when.get(complaint, {})}
                checks = ", ".join(sorted(touched)) or "no check of its own"
                yield f"  {fault.prior[complaint] / total:6.1%}  {name}: {checks}"
    yield ""
    yield "Outcomes, and the words that read as them"
    for name, check in table.checks.items():
        words = "; ".join(
            [", ".join(check.outcomes), *(f"{a} = {b}" for a, b in check.reads_as.items())]
        )
        yield f"  {name}: {words}"
        names = table.done_for(name)
        if names != {name: ""}:
            yield f"    done for each of {', '.join(names)}"
