"""``meterlink verify``: is a record still what was written, and who closed it?"""

import argparse
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from captures.job.verify_job import JobPart
    from captures.record.verify import Verification

NAME: Final = "verify"
HELP: Final = "check the seals of captures, job logs, whole jobs, or all of them"

_OLD_WORDS: Final = {"open": "unsealed-tail"}
"""What ``state`` said before there was ``record``."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to check."""
    parser.add_argument(
        "what",
        nargs="*",
        metavar="FILE-OR-JOB",
        help="a capture, a job log, a job's folder or its name; left out: all jobs and their list",
    )
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    parser.add_argument(
        "--trusted", metavar="KEYS", help="file of trusted keys: say who closed each record"
    )
    parser.add_argument(
        "--head", metavar="HASH", default="", help="of the store's list, as it was kept elsewhere"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """Say for each file whether it is whole; 1 unless all are, and signed where that is asked."""
    from pathlib import Path

    import msgspec

    from captures.record.signature import read_trusted
    from captures.record.verify import State
    from meterlink.errors import UsageError

    if args.what and args.head:
        raise UsageError("--head is about the list of all jobs; leave out what to check")
    if args.trusted and not args.what:
        raise UsageError("--trusted is about one record or job at a time; name it")
    trusted = None if args.trusted is None else read_trusted(Path(args.trusted))
    good = True
    for found, facts in _findings(args):
        good = good and facts["record"] == State.WHOLE.value
        says = str(facts["says"])
        if trusted is not None and _can_be_signed(found):
            who = trusted.get(found.key) if found.signed_well else None
            good = good and who is not None
            facts |= {"key": found.key or None, "signed_by": who}
            says += f"; {_signed_words(found, who)}"
        print(msgspec.json.encode(facts).decode() if args.json else says)
    return 0 if good else 1


def _can_be_signed(found: "Verification | JobPart") -> bool:
    """Attachments have no seal of their own; the job log names their hash."""
    from captures.record.verify import Verification

    return isinstance(found, Verification) or not found.file.startswith("attachments/")


def _signed_words(found: "Verification | JobPart", who: str | None) -> str:
    if who is not None:
        return f"signed by «{who}»"
    if not found.key:
        return "not signed"
    if found.signed_well is None:
        return "signed, which cannot be checked without the extra «sign»"
    return f"signed with a key that is not among the trusted, {found.key}"


def _findings(
    args: argparse.Namespace,
) -> "Iterator[tuple[Verification | JobPart, dict[str, object]]]":
    from pathlib import Path

    from captures.job.verify_job import check_record, verify_job, verify_store
    from captures.record.files import is_regular
    from tui.session.setup import job_store

    store = job_store(args.jobs)
    if not args.what:
        for part in verify_store(store.root, store.jobs(), args.head.lower()):
            yield part, _facts_of_part(None, part)
    for what in args.what:
        if is_regular(Path(what)):
            check = check_record(Path(what), thorough=True)
            yield check, _facts_of_file(check)
            continue
        job = store.job(what)
        for part in verify_job(job):
            yield part, _facts_of_part(job.name, part)


def _facts_of_file(check: "Verification") -> dict[str, object]:
    from captures.record.files import as_utf8

    return {
        "file": as_utf8(str(check.path)),
        "record": check.state.value,
        "state": _OLD_WORDS.get(check.state.value, check.state.value),
        "says": check.sentence,
        "lines": check.lines,
        "sealed_lines": check.sealed_lines,
        "first_bad_line": check.first_bad_line,
        "last_bad_line": check.last_bad_line,
        "unreadable_lines": check.unreadable_lines,
        "sha256": check.sha256,
    }


def _facts_of_part(job: str | None, part: "JobPart") -> dict[str, object]:
    from captures.record.files import as_utf8

    named = {} if job is None else {"job": as_utf8(job)}
    return {
        **named,
        "file": as_utf8(part.file),
        "record": part.state.value,
        "state": _OLD_WORDS.get(part.state.value, part.state.value),
        "says": part.sentence,
        "sha256": part.sha256,
    }
