"""``meterlink archive``: jobs into one data set, for questions across all of them."""

import argparse
import sys
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from captures.archive.archiver import Brought

NAME: Final = "archive"
HELP: Final = "bring jobs into one Parquet data set, to ask across all of them"

_WHOLE: Final = "whole"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare where to, which jobs, and from where they are."""
    parser.add_argument(
        "archive", metavar="DIR", help="folder of the data set, or a URL such as s3://BUCKET/PATH"
    )
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    parser.add_argument("--site", metavar="NAME", default="", help="where these benches stand")
    parser.add_argument(
        "--workers", type=int, default=2, metavar="N", help="read with N processes (default 2)"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """Bring in what is new, and name each job whose record is not whole."""
    import msgspec

    from captures.archive.archiver import archive_jobs
    from captures.archive.dataset import DataSet
    from captures.record.files import as_utf8
    from meterlink.errors import UsageError
    from meterlink.wording import counted
    from tui.session.setup import job_store

    if not 1 <= args.workers <= 64:
        raise UsageError("--workers is a number from 1 to 64")
    states: dict[str, int] = {}

    def tell(brought: "Brought") -> None:
        states[brought.record] = states.get(brought.record, 0) + 1
        if args.json:
            facts = {"job": as_utf8(brought.job), "record": brought.record, "why": brought.why}
            print(msgspec.json.encode(facts).decode())
        elif brought.record != _WHOLE:
            print(_not_whole(brought), file=sys.stderr)

    data = DataSet(args.archive)
    store = job_store(args.jobs)
    count = archive_jobs(store, data, site=args.site, workers=args.workers, tell=tell)
    if args.json:
        summary = {"archived": count, "states": states, "archive": data.name}
        print(msgspec.json.encode({"summary": summary}).decode())
    else:
        said = ", ".join(f"{number} {state}" for state, number in sorted(states.items()))
        print(f"{data.name}: {counted(count, 'job')} brought in" + (f": {said}" if said else ""))
    return 0


def _not_whole(brought: "Brought") -> str:
    from meterlink.quantities.text import plain

    return f"{plain(brought.job)}: {brought.record}. {brought.why}"
