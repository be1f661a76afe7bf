"""``meterlink export``: readings and holds out to other programs."""

import argparse
import io
import sys
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from captures.exchange.export import TableRow

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


def run(args: argparse.Namespace) -> int:
    """Write the table; says where and how many rows."""
    from pathlib import Path

    import msgspec

    from captures.exchange.export import new_file, write_csv, write_parquet, write_xlsx
    from captures.exchange.tables import HoldRow, ReadingRow
    from captures.job.names import shown_path
    from meterlink.errors import UsageError

    kind: type[TableRow] = HoldRow if args.holds else ReadingRow
    rows = _rows(_captures(args), holds=args.holds)
    how = args.format or (args.output or "").rpartition(".")[2].lower()
    if args.output is None:
        if how in ("parquet", "xlsx"):
            raise UsageError(f"{how} is no text; name a file to write it to")
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(newline="")  # the line ends are those of RFC 4180 already
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


def _captures(args: argparse.Namespace) -> "list[Path]":
    from pathlib import Path

    from meterlink.errors import UnreadableError
    from tui.session.setup import job_store

    try:
        return job_store(args.jobs).job(args.what).captures()
    except UnreadableError:
        return [Path(args.what)]


def _rows(captures: "list[Path]", *, holds: bool) -> "Iterator[TableRow]":
    from captures.exchange.tables import hold_rows, reading_rows

    for path in captures:
        yield from hold_rows(path) if holds else reading_rows(path)
