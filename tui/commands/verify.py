"""``meterlink verify``: is a record still what was written?"""

import argparse
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from captures.job.verify_job import JobPart
    from captures.record.verify import Verification

NAME: Final = "verify"
HELP: Final = "check the seals of captures, job logs and whole jobs"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to check."""
    parser.add_argument(
        "what",
        nargs="+",
        metavar="FILE-OR-JOB",
        help="a capture, a job log, a job's folder or its name",
    )
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """Say for each file whether it is whole, open or altered; 1 unless all are whole."""
    import msgspec

    from captures.record.verify import State

    whole = True
    for facts, sentence in _findings(args):
        whole = whole and facts["state"] == State.WHOLE.value
        print(msgspec.json.encode(facts).decode() if args.json else sentence)
    return 0 if whole else 1


def _findings(args: argparse.Namespace) -> "Iterator[tuple[dict[str, object], str]]":
    from pathlib import Path

    from captures.job.verify_job import verify_job
    from captures.record.reader import is_regular
    from captures.record.verify import verify
    from tui.session.setup import job_store

    for what in args.what:
        if is_regular(Path(what)):
            check = verify(Path(what))
            yield _facts_of_file(check), check.sentence
            continue
        job = job_store(args.jobs).job(what)
        for part in verify_job(job):
            yield _facts_of_part(job.name, part), part.sentence


def _facts_of_file(check: "Verification") -> dict[str, object]:
    from captures.job.names import as_utf8

    return {
        "file": as_utf8(str(check.path)),
        "state": check.state.value,
        "lines": check.lines,
        "sealed_lines": check.sealed_lines,
        "first_bad_line": check.first_bad_line,
        "last_bad_line": check.last_bad_line,
        "unreadable_lines": check.unreadable_lines,
        "sha256": check.sha256,
    }


def _facts_of_part(job: str, part: "JobPart") -> dict[str, object]:
    from captures.job.names import as_utf8

    return {
        "job": as_utf8(job),
        "file": as_utf8(part.file),
        "state": part.state.value,
        "says": part.sentence,
        "sha256": part.sha256,
    }
