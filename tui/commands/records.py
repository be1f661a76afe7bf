"""Records out, in and proven: ``verify``, ``key``, ``export``, ``import`` and ``report``."""

import argparse
import io
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import msgspec

from captures.exchange.export import (
    HoldRow,
    ReadingRow,
    TableRow,
    hold_rows,
    new_file,
    reading_rows,
    write_csv,
    write_parquet,
    write_xlsx,
)
from captures.job.attachments import import_readings
from captures.job.job import JobWriter
from captures.job.verify_job import JobPart, check_record, verify_job, verify_store
from captures.record.files import as_utf8, is_regular, open_regular, read_rfc3339, shown_path
from captures.record.signature import as_text, make_key, public_key, read_trusted
from captures.record.verify import State, Verification
from meterlink.errors import UnreadableError, UsageError
from meterlink.quantities.text import plain
from tui.commands.shared import (
    damaged_too_option,
    jobs_option,
    json_option,
    pass_job,
    pass_record,
    print_json,
)
from tui.session.setup import job_store
from tui.settings import CARDS

Source = tuple[Path, str, int | None]
"""A capture, its state and the first line that is not what was sealed."""
_OLD_WORDS: Final = {"open": "unsealed-tail"}
"""What ``state`` said before there was ``record``."""


def add_verify(parser: argparse.ArgumentParser) -> None:
    """Declare what to check."""
    parser.add_argument(
        "what",
        nargs="*",
        metavar="FILE-OR-JOB",
        help="a capture, a job log, a job's folder or its name; left out: all jobs and their list",
    )
    jobs_option(parser)
    parser.add_argument(
        "--trusted", metavar="KEYS", help="file of trusted keys: say who closed each record"
    )
    parser.add_argument(
        "--head", metavar="HASH", default="", help="of the store's list, as it was kept elsewhere"
    )
    json_option(parser)
    parser.set_defaults(run=_verify)


def _verify(args: argparse.Namespace) -> int:
    """Say for each file whether it is whole; 1 unless all are, and signed where that is asked."""
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
        print_json(facts) if args.json else print(says)
    return 0 if good else 1


def _can_be_signed(found: Verification | JobPart) -> bool:
    """Attachments have no seal of their own; the job log names their hash."""
    return isinstance(found, Verification) or not found.file.startswith("attachments/")


def _signed_words(found: Verification | JobPart, who: str | None) -> str:
    if who is not None:
        return f"signed by “{who}”"
    if not found.key:
        return "not signed"
    if found.signed_well is None:
        return "signed, which cannot be checked without the extra “sign”"
    return f"signed with a key that is not among the trusted, {found.key}"


def _findings(
    args: argparse.Namespace,
) -> Iterator[tuple[Verification | JobPart, dict[str, object]]]:
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


def _facts_of_file(check: Verification) -> dict[str, object]:
    return {
        "file": as_utf8(str(check.path)),
        **_state(check),
        "lines": check.lines,
        "sealed_lines": check.sealed_lines,
        "first_bad_line": check.first_bad_line,
        "last_bad_line": check.last_bad_line,
        "unreadable_lines": check.unreadable_lines,
        "sha256": check.sha256,
    }


def _facts_of_part(job: str | None, part: JobPart) -> dict[str, object]:
    named = {} if job is None else {"job": as_utf8(job)}
    return {**named, "file": as_utf8(part.file), **_state(part), "sha256": part.sha256}


def _state(found: Verification | JobPart) -> dict[str, object]:
    state = found.state.value
    return {
        "record": state,
        "state": _OLD_WORDS.get(state, state),
        "says": found.sentence,
    }


def add_key(parser: argparse.ArgumentParser) -> None:
    """Declare what to do."""
    does = parser.add_subparsers(dest="does", metavar="WHAT", required=True)
    make = does.add_parser("make", help="make a key; every job closed here is signed from then on")
    show = does.add_parser("show", help="print its public part, for whoever is to trust it")
    for word in (make, show):
        word.add_argument(
            "--name", metavar="NAME", default="this bench", help="what others shall call this bench"
        )
    parser.set_defaults(run=_key)


def _key(args: argparse.Namespace) -> int:
    """Print the public part as a line of a file of trusted keys."""
    public = make_key() if args.does == "make" else public_key()
    print(as_text(args.name, public), end="")
    return 0


def add_export(parser: argparse.ArgumentParser) -> None:
    """Declare what, as what, and where to."""
    parser.add_argument(
        "what", metavar="CAPTURE-OR-JOB", help="a capture, or a job with all of its"
    )
    parser.add_argument("--output", metavar="FILE", help="default: CSV to standard output")
    parser.add_argument("--holds", action="store_true", help="holds and verdicts, not readings")
    parser.add_argument(
        "--format", choices=("csv", "parquet", "xlsx"), help="default: by FILE's ending, else csv"
    )
    jobs_option(parser)
    damaged_too_option(parser)
    parser.set_defaults(run=_export)


def _export(args: argparse.Namespace) -> int:
    """Write the table; says where and how many rows."""
    kind: type[TableRow] = HoldRow if args.holds else ReadingRow
    how = args.format or (args.output or "").rpartition(".")[2].lower()
    if args.output is None and how in ("parquet", "xlsx"):
        raise UsageError(f"{how} is no text; name a file to write it to")
    rows = _table_rows(_captures(args), holds=args.holds)
    if args.output is None:
        if (reconfigure := getattr(sys.stdout, "reconfigure", None)) is not None:
            reconfigure(newline="")  # the line ends are those of RFC 4180 already
        write_csv(rows, kind, sys.stdout)
        return 0
    path = Path(args.output)
    if how == "parquet":
        count = write_parquet(rows, kind, path)
    elif how == "xlsx":
        cells = (msgspec.structs.astuple(row) for row in rows)
        count = write_xlsx(kind.__struct_fields__, cells, path)
    else:
        with new_file(path) as raw, io.TextIOWrapper(raw, encoding="utf-8", newline="") as file:
            count = write_csv(rows, kind, file)
    print(f"wrote {shown_path(path)}, {count} {'holds' if args.holds else 'readings'}")
    return 0


def _captures(args: argparse.Namespace) -> list[Source]:
    beside = args.output is None  # the table itself goes to standard output
    path = Path(args.what)
    if is_regular(path):
        check = pass_record(args, path, beside=beside)
        return [(path, check.state.value, check.first_bad_line)]
    job = job_store(args.jobs).job(args.what)
    parts = {part.file: part for part in pass_job(args, job, beside=beside).parts}
    found = []
    for path in job.captures():
        part = parts[path.relative_to(job.folder).as_posix()]
        found.append((path, part.state.value, part.first_bad_line))
    return found


def _table_rows(captures: list[Source], *, holds: bool) -> Iterator[TableRow]:
    rows = hold_rows if holds else reading_rows
    for path, record, first_bad_line in captures:
        yield from rows(path, record, first_bad_line)


def add_import(parser: argparse.ArgumentParser) -> None:
    """Declare the files and the job they go to."""
    parser.add_argument("files", nargs="+", metavar="FILE")
    parser.add_argument("--job", metavar="JOB", help="an existing job; else a new one is made")
    parser.add_argument("--title", default="", help="of the new job; default: the file's name")
    parser.add_argument("--step", default="", help="what was measured, such as primary")
    parser.add_argument(
        "--started", default="", metavar="TIME", help="RFC 3339 time at which t_s was 0"
    )
    jobs_option(parser)
    parser.set_defaults(run=_import)


def _import(args: argparse.Namespace) -> int:
    """Make one capture of each file."""
    started = _started(args)
    with _job_to_fill(args) as job:
        for file in args.files:
            capture = import_readings(Path(file), job, started=started, step=args.step)
            print(f"wrote {shown_path(capture)}")
    return 0


def _job_to_fill(args: argparse.Namespace) -> JobWriter:
    for file in args.files:
        open_regular(Path(file)).close()  # no job for a file that is not there
    store = job_store(args.jobs)
    if args.job is not None:
        return store.resume(args.job)
    return store.create(args.title or plain(Path(args.files[0]).stem))


def _started(args: argparse.Namespace) -> str:
    if not args.started:
        return ""
    try:
        read_rfc3339(args.started)
    except UnreadableError as fault:
        raise UsageError(f"--started: {fault}") from fault
    return str(args.started)


def add_report(parser: argparse.ArgumentParser) -> None:
    """Declare the job and who the report is for."""
    parser.add_argument("job", metavar="JOB", help="name or folder of a job")
    parser.add_argument(
        "--customer", action="store_true", help="half a page for the customer, in plain words"
    )
    parser.add_argument(
        "--details", action="store_true", help="unfold what stands behind the page, to print it too"
    )
    parser.add_argument("--output", metavar="FILE", help="default: in the job's folder")
    jobs_option(parser)
    damaged_too_option(parser)
    parser.set_defaults(run=_report)


def _report(args: argparse.Namespace) -> int:
    """Write it and say where."""
    from captures.report.write import Audience, write_report

    store = job_store(args.jobs)
    job = store.job(args.job)
    check = pass_job(args, job)
    audience = Audience.CUSTOMER if args.customer else Audience.WORKSHOP
    target = Path(args.output) if args.output else None
    written = write_report(job, CARDS.get, audience, target, store, check, details=args.details)
    print(f"wrote {shown_path(written)}")
    return 0
