"""``meterlink jobs``: list, show, attach to, pack and unpack jobs."""

import argparse
import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from captures.job.job import Job
    from captures.job.listing import JobSummary
    from captures.job.store import JobStore

NAME: Final = "jobs"
HELP: Final = "list jobs, show one, attach files, pack one for handing over"

_STANDINGS: Final = ("begun", "under-way", "done", "signed-off", "unreadable")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to do; without a word it lists."""
    _common(parser)
    _filters(parser)
    does = parser.add_subparsers(dest="does", metavar="WHAT")

    listing = does.add_parser("list", help="one line for each job, newest day first")
    _common(listing, again=True)
    _filters(listing, again=True)

    show = does.add_parser("show", help="what happened in one job")
    show.add_argument("job", metavar="JOB", help="name or folder of a job")
    _common(show, again=True)

    attach = does.add_parser("attach", help="copy photos or other files into a job")
    attach.add_argument("job", metavar="JOB", help="name or folder of a job")
    attach.add_argument("files", nargs="+", metavar="FILE")
    attach.add_argument("--note", default="", help="words to go with them")
    _common(attach, again=True)

    pack = does.add_parser("pack", help="put a job into one file")
    pack.add_argument("job", metavar="JOB", help="name or folder of a job")
    pack.add_argument("--output", metavar="FILE", help="default: JOB.job.zip, here")
    _common(pack, again=True)

    unpack = does.add_parser("unpack", help="take a packed job into the jobs folder")
    unpack.add_argument("file", metavar="FILE")
    unpack.add_argument(
        "--largest", metavar="MIB", type=int, help="take jobs up to this size (default 2048)"
    )
    _common(unpack, again=True)


def run(args: argparse.Namespace) -> int:
    """Do what was asked."""
    from tui.session.setup import job_store

    store = job_store(args.jobs)
    does = {"show": _show, "attach": _attach, "pack": _pack, "unpack": _unpack}
    return does.get(args.does, _list)(args, store)


def _common(parser: argparse.ArgumentParser, *, again: bool = False) -> None:
    """Arguments that may stand before or after the word; the later one counts."""
    default = argparse.SUPPRESS if again else None
    parser.add_argument("--jobs", metavar="DIR", default=default, help="where jobs are kept")
    parser.add_argument(
        "--json",
        action="store_true",
        default=argparse.SUPPRESS if again else False,
        help="one JSON object a line",
    )


def _filters(parser: argparse.ArgumentParser, *, again: bool = False) -> None:
    default = argparse.SUPPRESS if again else ""
    parser.add_argument(
        "--match", metavar="TEXT", default=default, help="only with this in title or name"
    )
    parser.add_argument("--since", metavar="DAY", default=default, help="such as 2026-11-03")
    parser.add_argument("--until", metavar="DAY", default=default, help="that day included")
    parser.add_argument(
        "--standing", choices=_STANDINGS, default=default, help="only jobs that stand so"
    )


def _list(args: argparse.Namespace, store: "JobStore") -> int:
    import msgspec

    from captures.job.listing import JobStatus, list_jobs
    from captures.job.names import as_utf8

    standing = JobStatus(args.standing) if args.standing else None
    listed = list_jobs(
        store.jobs(),
        match=args.match,
        since=_day(args.since),
        until=_day(args.until),
        standing=standing,
    )
    found = False
    for job in listed:
        found = True
        if args.json:
            named = msgspec.structs.replace(job, job=as_utf8(job.job))
            print(msgspec.json.encode(named).decode())
        else:
            print(_line(job))
    if not found and not args.json:
        from meterlink.quantities.text import plain

        print(f"no such job in {plain(str(store.root))}")
    return 0


def _day(text: str) -> str:
    from meterlink.errors import UsageError
    from meterlink.quantities.text import plain

    if text and not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        raise UsageError(f"«{plain(text)}» is no day; expected such as 2026-11-03")
    return text


def _line(job: "JobSummary") -> str:
    from meterlink.quantities.text import plain
    from meterlink.wording import counted

    captures = counted(job.captures, "capture")
    return f"{plain(job.job)}  {job.standing.value:<10}  {captures:<11}  {job.title}"


def _show(args: argparse.Namespace, store: "JobStore") -> int:
    from meterlink.quantities.text import plain

    job = store.job(args.job)
    if args.json:
        _show_json(job)
        return 0
    header = job.header()
    print(f"{plain(header.title)}\n{plain(str(job.folder))}\nbegun {plain(header.started, 40)}")
    for path in (*job.captures(), *job.attachments()):
        print(f"  {plain(path.relative_to(job.folder).as_posix())}")
    for line in _told(job):
        print(line)
    return 0


def _show_json(job: "Job") -> None:
    import msgspec

    from captures.job.names import as_utf8
    from captures.record.records import encode

    header = job.header()
    facts = {"job": as_utf8(job.name), "title": header.title, "started": header.started}
    print(msgspec.json.encode(facts).decode())
    for entry in job.entries():
        fields = msgspec.json.decode(encode(entry.event))
        print(msgspec.json.encode(fields | {"at": entry.at}).decode())


def _told(job: "Job") -> "Iterator[str]":
    """Yield what happened, card by card, then the table of results of each."""
    from captures.job.card_progress import JobSettings, card_progress
    from meterlink.events import CardBegan
    from meterlink.quantities.text import plain
    from tui.announcing.teller import Teller, table
    from tui.settings.shelf import CARDS

    stands = list(card_progress(job, JobSettings.read(job), CARDS.get))
    tellers = {progress.card.id: Teller(progress.card) for progress in stands}
    teller = None
    for entry in job.entries():
        if isinstance(entry.event, CardBegan):
            teller = tellers[entry.event.card]
        if teller is not None and (words := teller.tell(entry.event)):
            yield f"{plain(entry.at, 40)}  {plain(words, 400)}"
    for progress in stands:
        yield ""
        yield from (plain(row, 600) for row in table(progress, tellers[progress.card.id]))


def _attach(args: argparse.Namespace, store: "JobStore") -> int:
    from pathlib import Path

    from captures.job.attachments import attach
    from captures.job.names import shown_path

    with store.resume(args.job) as job:
        for file in args.files:
            copy = attach(job, Path(file), note=args.note)
            print(f"wrote {shown_path(copy)}")
    return 0


def _pack(args: argparse.Namespace, store: "JobStore") -> int:
    from pathlib import Path

    from captures.job.names import shown_path
    from captures.job.pack import PACK_ENDING, pack

    job = store.job(args.job)
    target = Path(args.output) if args.output else Path(f"{job.name}{PACK_ENDING}")
    pack(job, target)
    print(f"wrote {shown_path(target)}")
    return 0


def _unpack(args: argparse.Namespace, store: "JobStore") -> int:
    from pathlib import Path

    from captures.job.names import shown_path
    from captures.job.pack import LARGEST, unpack
    from captures.job.verify_job import verify_job
    from captures.record.verify import State
    from meterlink.errors import UsageError

    if args.largest is not None and args.largest < 1:
        raise UsageError("--largest is a number of MiB, at least 1")
    largest = LARGEST if args.largest is None else args.largest << 20
    job = unpack(Path(args.file), store, largest=largest)
    print(f"wrote {shown_path(job.folder)}")
    parts = [part for part in verify_job(job) if part.state is not State.WHOLE]
    for part in parts:
        print(part.sentence)
    return 1 if parts else 0
