"""What commands that read records do at the gate: say first what state the record is in.

Whole, open and cut records are read. An altered one is refused, unless ``--damaged-too``: then
what comes after the damage is marked.
"""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from meterlink.errors import UnreadableError

if TYPE_CHECKING:
    from captures.job.job import Job
    from captures.job.verify_job import JobCheck
    from captures.record.verify import State, Verification

MARK: Final = "(after the damage) "
"""Stands before what a damaged record says from its first bad line on."""


def add_damaged_too(parser: argparse.ArgumentParser) -> None:
    """Declare ``--damaged-too``."""
    parser.add_argument(
        "--damaged-too",
        action="store_true",
        help="read an altered record all the same; what comes after the damage is marked",
    )


def pass_record(args: argparse.Namespace, path: Path, *, beside: bool = False) -> "Verification":
    """Check one record and say what state it is in; ``beside``: to standard error.

    Raises:
        UnreadableError: it is altered and ``--damaged-too`` was not given, or cannot be read.
    """
    from captures.job.verify_job import check_record

    check = check_record(path)
    _pass(args, check.state, check.sentence, beside=beside)
    return check


def pass_job(args: argparse.Namespace, job: "Job", *, beside: bool = False) -> "JobCheck":
    """Check all files of a job and say what state it is in; errors as for ``pass_record``."""
    from captures.job.verify_job import check_job

    check = check_job(job)
    _pass(args, check.state, check.sentence, beside=beside)
    return check


def _pass(args: argparse.Namespace, state: "State", sentence: str, *, beside: bool) -> None:
    import msgspec

    from captures.record.verify import State

    as_json = getattr(args, "json", False)
    if state is State.ALTERED and not args.damaged_too:
        if as_json:
            facts = {"record": state.value, "says": sentence}
            print(msgspec.json.encode(facts).decode())
        raise UnreadableError(
            f"{sentence}; nothing of it is shown, as it is not what was recorded. "
            "Take another copy, or read it all the same with --damaged-too"
        )
    if not as_json:
        print(sentence, file=sys.stderr if beside else sys.stdout)


def after_damage(line: int, first_bad_line: int | None) -> bool:
    """Whether what stands at ``line`` of a record comes after its damage."""
    return first_bad_line is not None and line >= first_bad_line
