"""What several commands share: options, JSON lines, and the gate that every record passes.

At the gate it is said first what state a record is in. Whole, open and cut records are read. An
altered one is refused, unless ``--damaged-too``: then what comes after the damage is marked.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import msgspec

from meterlink.errors import MeterlinkError, UnreadableError

if TYPE_CHECKING:
    from captures.job.job import Job
    from captures.job.verify_job import JobCheck
    from captures.record.verify import State, Verification

MARK: Final = "(after the damage) "
"""Stands before what a damaged record says from its first bad line on."""


def json_option(
    command: argparse.ArgumentParser,
    *words: argparse.ArgumentParser,
    text: str = "one JSON object a line",
) -> None:
    """Declare ``--json`` for ``command`` and for each of its ``words``.

    A word's own parser sets it only where it is given there, so that it does not undo what stood
    before the word.
    """
    for parser in (command, *words):
        default = False if parser is command else argparse.SUPPRESS
        parser.add_argument("--json", action="store_true", default=default, help=text)


def jobs_option(command: argparse.ArgumentParser, *words: argparse.ArgumentParser) -> None:
    """Declare ``--jobs`` for ``command`` and for each of its ``words``, as for ``--json``."""
    for parser in (command, *words):
        default = None if parser is command else argparse.SUPPRESS
        parser.add_argument("--jobs", metavar="DIR", default=default, help="where jobs are kept")


def visa_option(parser: argparse.ArgumentParser) -> None:
    """Declare ``--visa``."""
    parser.add_argument("--visa", choices=["py", "system"], help="go through this VISA library")


def frames_option(
    parser: argparse._ActionsContainer,
    text: str = "the meter's frame format, where it cannot be found out",
) -> None:
    """Declare ``--frames NAME``, kept in ``args.wire``.

    The option was once called ``--wire``, and still works under that name.

    Args:
        parser: a parser, or a group of options of which one may be given.
        text: the help on the option.
    """
    parser.add_argument("--frames", dest="wire", metavar="NAME", help=text)
    parser.add_argument("--wire", dest="wire", help=argparse.SUPPRESS)


def damaged_too_option(parser: argparse.ArgumentParser) -> None:
    """Declare ``--damaged-too``."""
    parser.add_argument(
        "--damaged-too",
        action="store_true",
        help="read an altered record all the same; what comes after the damage is marked",
    )


def seed(text: str) -> int:
    """Return the seed that ``text`` says: the random numbers take none below zero."""
    value = int(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{value} is no seed; give 0 or more")
    return value


def print_json(facts: object) -> None:
    """Print ``facts`` as one line of JSON, at once."""
    print(msgspec.json.encode(facts).decode(), flush=True)


def pass_record(args: argparse.Namespace, path: Path, *, beside: bool = False) -> "Verification":
    """Check one record and say what state it is in; ``beside``: to standard error.

    Raises:
        UnreadableError: it is altered and ``--damaged-too`` was not given, or cannot be read.
    """
    from captures.job.verify_job import check_record

    check = check_record(path)
    _pass(args, check.state, check.sentence, beside=beside)
    return check


def pass_to_go_on(args: argparse.Namespace, job: "Job") -> None:
    """Check a job before more is written into it; say what is not whole, beside JSON.

    Raises:
        UnreadableError: it is altered and ``--damaged-too`` was not given, or cannot be read.
    """
    from captures.job.verify_job import check_job

    check = check_job(job)
    if check.state.value == "altered" and not args.damaged_too:
        raise UnreadableError(
            f"{check.sentence}; this job is not gone on with, as it is not what was recorded. "
            "Begin another with --new, or go on all the same with --damaged-too"
        )
    if check.state.value != "whole":
        print(check.sentence, file=sys.stderr if args.json else sys.stdout)


def pass_job(args: argparse.Namespace, job: "Job", *, beside: bool = False) -> "JobCheck":
    """Check all files of a job and say what state it is in; errors as for ``pass_record``."""
    from captures.job.verify_job import check_job

    check = check_job(job)
    _pass(args, check.state, check.sentence, beside=beside)
    return check


def _pass(args: argparse.Namespace, state: "State", sentence: str, *, beside: bool) -> None:
    as_json = getattr(args, "json", False)
    if state.value == "altered" and not args.damaged_too:
        if as_json:
            print_json({"record": state.value, "says": sentence})
        raise UnreadableError(
            f"{sentence}; nothing of it is shown, as it is not what was recorded. "
            "Take another copy, or read it all the same with --damaged-too"
        )
    if not as_json:
        print(sentence, file=sys.stderr if beside else sys.stdout)


def after_damage(line: int, first_bad_line: int | None) -> bool:
    """Whether what stands at ``line`` of a record comes after its damage."""
    return first_bad_line is not None and line >= first_bad_line


def report_skipped(faults: Sequence[MeterlinkError]) -> None:
    """End what was shown with the first of ``faults``, and how many more there are.

    Raises:
        MeterlinkError: the first, with its own exit code; where there is none, nothing is raised.
    """
    if not faults:
        return
    first, *more = faults
    others = f" (and {len(more)} more)" if more else ""
    raise type(first)(f"{first}{others}; everything else is shown") from first
