"""``meterlink report``: one page that needs nothing else, for the workshop or the customer."""

import argparse
from typing import Final

from tui.commands._gate import add_damaged_too, pass_job

NAME: Final = "report"
HELP: Final = "write the report of a job as one HTML file"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the job and who the report is for."""
    parser.add_argument("job", metavar="JOB", help="name or folder of a job")
    parser.add_argument(
        "--customer", action="store_true", help="one page for the customer, without the metrology"
    )
    parser.add_argument("--output", metavar="FILE", help="default: in the job's folder")
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    add_damaged_too(parser)


def run(args: argparse.Namespace) -> int:
    """Write it and say where."""
    from pathlib import Path

    from captures.record.files import shown_path
    from captures.report.write import Audience, write_report
    from tui.session.setup import job_store
    from tui.settings.shelf import CARDS

    store = job_store(args.jobs)
    job = store.job(args.job)
    check = pass_job(args, job)
    audience = Audience.CUSTOMER if args.customer else Audience.WORKSHOP
    target = Path(args.output) if args.output else None
    written = write_report(job, CARDS.get, audience, target, store, check)
    print(f"wrote {shown_path(written)}")
    return 0
