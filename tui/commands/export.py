"""``meterlink export``: readings and holds out to other programs."""

import argparse
import io
import sys
from typing import TYPE_CHECKING, Final

from tui.commands._gate import add_damaged_too, pass_job, pass_record

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from captures.exchange.export import TableRow

    Source = tuple[Path, str, int | None]
    """A capture, its state and the first line that is not what was sealed."""

NAME: Final = "export"
HELP: Final = "write readings or holds as CSV, Parquet or a workbook"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what, as what, and where to."""
    parser.add_argument(
        "what", metavar="CAPTURE-OR-JOB", help="a capture, or a job with all of its"
    )
    parser.add_argument("--output", metavar="FILE", help="default: CSV to standard output")
    parser.add_argument("--holds", action="store_true", help="holds and verdicts, not readings")
    parser.add_argument(
        "--format", choices=("csv", "parquet", "xlsx"), help="default: by FILE's ending, else csv"
    )
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    add_damaged_too(parser)


def run(args: argparse.Namespace) -> int:
    """Write the table; says where and how many rows."""
    from pathlib import Path

    import msgspec

    from captures.exchange.export import (
        HoldRow,
        ReadingRow,
        new_file,
        write_csv,
        write_parquet,
        write_xlsx,
    )
    from captures.record.files import shown_path
    from meterlink.errors import UsageError

    kind: type[TableRow] = HoldRow if args.holds else ReadingRow
    how = args.format or (args.output or "").rpartition(".")[2].lower()
    if args.output is None and how in ("parquet", "xlsx"):
        raise UsageError(f"{how} is no text; name a file to write it to")
    rows = _rows(_captures(args), holds=args.holds)
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


def _captures(args: argparse.Namespace) -> "list[Source]":
    from pathlib import Path

    from captures.record.files import is_regular
    from tui.session.setup import job_store

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


def _rows(captures: "list[Source]", *, holds: bool) -> "Iterator[TableRow]":
    from captures.exchange.export import hold_rows, reading_rows

    rows = hold_rows if holds else reading_rows
    for path, record, first_bad_line in captures:
        yield from rows(path, record, first_bad_line)
