"""``meterlink import``: plain readings files into a job."""

import argparse
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from captures.job.job import JobWriter

NAME: Final = "import"
HELP: Final = "take plain readings files (CSV: t_s,value,unit) into a job"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the files and the job they go to."""
    parser.add_argument("files", nargs="+", metavar="FILE")
    parser.add_argument("--job", metavar="JOB", help="an existing job; else a new one is made")
    parser.add_argument("--title", default="", help="of the new job; default: the file's name")
    parser.add_argument("--step", default="", help="what was measured, such as primary")
    parser.add_argument(
        "--started", default="", metavar="TIME", help="RFC 3339 time at which t_s was 0"
    )
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")


def run(args: argparse.Namespace) -> int:
    """Make one capture of each file."""
    from pathlib import Path

    from captures.job.attachments import import_readings
    from captures.record.files import shown_path

    started = _started(args)
    with _job(args) as job:
        for file in args.files:
            capture = import_readings(Path(file), job, started=started, step=args.step)
            print(f"wrote {shown_path(capture)}")
    return 0


def _job(args: argparse.Namespace) -> "JobWriter":
    from pathlib import Path

    from captures.record.files import open_regular
    from meterlink.quantities.text import plain
    from tui.session.setup import job_store

    for file in args.files:
        open_regular(Path(file)).close()  # no job for a file that is not there
    store = job_store(args.jobs)
    if args.job is not None:
        return store.resume(args.job)
    return store.create(args.title or plain(Path(args.files[0]).stem))


def _started(args: argparse.Namespace) -> str:
    from captures.record.files import read_rfc3339
    from meterlink.errors import UnreadableError, UsageError

    if not args.started:
        return ""
    try:
        read_rfc3339(args.started)
    except UnreadableError as fault:
        raise UsageError(f"--started: {fault}") from fault
    return str(args.started)
