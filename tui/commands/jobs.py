"""``meterlink jobs``: what jobs there are, and what can be done with one."""

import argparse
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import msgspec

from captures.exchange.packs import LARGEST, PACK_ENDING, pack, reports_in, unpack
from captures.job.attachments import attach
from captures.job.card_progress import JobSettings, card_progress
from captures.job.job import Job
from captures.job.known_states import KnownStates
from captures.job.mend import mend_job, mend_store
from captures.job.rejudging import Differing, rejudge
from captures.job.store import JobStatus, JobStore, JobSummary, list_jobs
from captures.job.store_list import LIST_NAME, begin_list, read_list
from captures.job.striking import strike
from captures.job.verify_job import JobCheck, check_job
from captures.record.files import as_utf8, shown_path
from captures.record.records import encode
from captures.record.verify import State
from meterlink.errors import UnreadableError, UsageError
from meterlink.events import CardBegan, Verdict
from meterlink.quantities.text import plain
from meterlink.wording import VERDICT_WORDS, counted, percent
from tui.announcing.teller import Teller, table
from tui.commands.shared import (
    MARK,
    after_damage,
    damaged_too_option,
    jobs_option,
    json_option,
    pass_job,
    print_json,
)
from tui.session.setup import job_store
from tui.settings import CARDS

Do = Callable[[argparse.Namespace, JobStore], int]
_STANDINGS: Final = ("begun", "under-way", "done", "signed-off", "unreadable")


def add_jobs(parser: argparse.ArgumentParser) -> None:
    """Declare what to do; without a word it lists."""
    parser.set_defaults(run=_run_jobs, do=_list)
    does = parser.add_subparsers(metavar="WHAT")

    listing = does.add_parser("list", help="one line for each job, newest day first")
    show = _word_on_job(does, "show", _show, "what happened in one job")
    damaged_too_option(show)

    attach = _word_on_job(does, "attach", _attach, "copy photos or other files into a job")
    attach.add_argument("files", nargs="+", metavar="FILE")
    attach.add_argument("--note", default="", help="words to go with them")

    again = does.add_parser(
        "rejudge", help="list clear verdicts that today's rules would not give; changes nothing"
    )
    again.add_argument("job", metavar="JOB", nargs="*", help="names or folders; else every job")
    again.set_defaults(do=_rejudge)

    pack = _word_on_job(does, "pack", _pack, "put a job into one file")
    pack.add_argument("--output", metavar="FILE", help="default: JOB.job.zip, here")

    unpack = does.add_parser("unpack", help="take a packed job into the jobs folder")
    unpack.add_argument("file", metavar="FILE")
    unpack.add_argument(
        "--largest", metavar="MIB", type=int, help="take jobs up to this size (default 2048)"
    )
    unpack.set_defaults(do=_unpack)

    chain = does.add_parser("keep-list", help="keep a running list of all seals in this store")
    chain.set_defaults(do=_keep_list)

    strike = _word_on_job(
        does, "strike", _strike, "strike a name or serial number from a job's records"
    )
    strike.add_argument("text", metavar="TEXT", help="every title, entry and note with this in it")
    strike.add_argument("--reason", default="", help="why, for the record")
    strike.add_argument("--who", default="", metavar="NAME", help="who asked, for the record")

    mend = does.add_parser("mend", help="find what crashes left behind, and mend it")
    mend.add_argument("job", nargs="*", metavar="JOB", help="only these; else all jobs")
    mend.set_defaults(do=_mend)

    words = (listing, show, attach, again, pack, unpack, chain, strike, mend)
    jobs_option(parser, *words)
    json_option(parser, *words)
    _filters(parser, "")
    _filters(listing, argparse.SUPPRESS)


def _word_on_job(
    does: "argparse._SubParsersAction[argparse.ArgumentParser]", word: str, do: Do, text: str
) -> argparse.ArgumentParser:
    """Add a word that is followed by a job."""
    parser = does.add_parser(word, help=text)
    parser.add_argument("job", metavar="JOB", help="name or folder of a job")
    parser.set_defaults(do=do)
    return parser


def _run_jobs(args: argparse.Namespace) -> int:
    """Do what was asked."""
    do: Do = args.do
    return do(args, job_store(args.jobs))


def _filters(parser: argparse.ArgumentParser, default: str) -> None:
    parser.add_argument(
        "--match", metavar="TEXT", default=default, help="only with this in title or name"
    )
    parser.add_argument("--since", metavar="DAY", default=default, help="such as 2026-11-03")
    parser.add_argument("--until", metavar="DAY", default=default, help="that day included")
    parser.add_argument(
        "--standing", choices=_STANDINGS, default=default, help="only jobs that stand so"
    )


def _list(args: argparse.Namespace, store: JobStore) -> int:
    standing = JobStatus(args.standing) if args.standing else None
    found = False
    with KnownStates(store.root) as known:
        for job in list_jobs(
            store.jobs(),
            match=args.match,
            since=_day(args.since),
            until=_day(args.until),
            standing=standing,
            state_of=known.state_of,
        ):
            found = True
            if args.json:
                named = msgspec.structs.replace(job, job=as_utf8(job.job))
                print_json(named)
            else:
                print(_line(job))
    if not found and not args.json:
        print(f"no such job in {plain(str(store.root))}")
    return 0


def _day(text: str) -> str:
    if text and not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        raise UsageError(f"“{plain(text)}” is no day; expected such as 2026-11-03")
    return text


def _line(job: JobSummary) -> str:
    captures = counted(job.captures, "capture")
    record = "" if job.record in {"", "whole"} else f"  (its record is {job.record})"
    return f"{plain(job.job)}  {job.standing.value:<10}  {captures:<11}  {job.title}{record}"


def _show(args: argparse.Namespace, store: JobStore) -> int:
    job = store.job(args.job)
    check = pass_job(args, job)
    if args.json:
        _show_json(job, check)
        return 0
    header = job.header()
    print(f"{plain(header.title)}\n{plain(str(job.folder))}\nbegun {plain(header.started, 40)}")
    for path in (*job.captures(), *job.attachments()):
        print(f"  {plain(path.relative_to(job.folder).as_posix())}")
    for line in _told(job, check.parts[0].first_bad_line):
        print(line)
    return 0


def _show_json(job: Job, check: JobCheck) -> None:
    header = job.header()
    record, bad = check.state.value, check.parts[0].first_bad_line
    facts = {
        "job": as_utf8(job.name),
        "title": header.title,
        "started": header.started,
        "record": record,
        "says": check.sentence,
    }
    print_json(facts)
    for entry in job.entries():
        fields = msgspec.json.decode(encode(entry.event)) | {"at": entry.at}
        if bad is not None:
            fields |= {"record": record, "after_damage": after_damage(entry.line, bad)}
        print_json(fields)


def _told(job: Job, first_bad_line: int | None) -> Iterator[str]:
    """Yield what happened, card by card, then the table of results of each."""
    stands = list(card_progress(job, JobSettings.read(job), CARDS.get))
    tellers = {progress.card.id: Teller(progress.card) for progress in stands}
    teller = None
    for entry in job.entries():
        if isinstance(entry.event, CardBegan):
            teller = tellers[entry.event.card]
        if teller is not None and (words := teller.tell(entry.event)):
            mark = MARK if after_damage(entry.line, first_bad_line) else ""
            yield f"{plain(entry.at, 40)}  {mark}{plain(words, 400)}"
    for progress in stands:
        yield ""
        yield from (plain(row, 600) for row in table(progress, tellers[progress.card.id]))


def _rejudge(args: argparse.Namespace, store: JobStore) -> int:
    """List what differs; the exit code is 1 where anything does."""
    jobs = [store.job(name) for name in args.job] if args.job else list(store.jobs())
    differing = unreadable = 0
    for job in jobs:
        try:
            for one in rejudge(job, CARDS.get):
                differing += 1
                print(_encoded(one) if args.json else _differs(one))
        except UnreadableError as fault:
            unreadable += 1
            if not args.json:
                print(plain(f"{as_utf8(job.name)}: {fault}", 400))
    if args.json:
        summary = {"jobs": len(jobs), "differing": differing, "unreadable": unreadable}
        print(_encoded({"summary": summary}))
    else:
        verdicts = counted(differing, "verdict")
        print(f"{counted(len(jobs), 'job')}, {verdicts} that today's rules would not give so")
    return 1 if differing else 0


def _encoded(thing: object) -> str:
    return msgspec.json.encode(thing).decode()


def _differs(one: Differing) -> str:
    def said(verdict: Verdict, probability: float, *, clear: bool) -> str:
        return f"{VERDICT_WORDS[verdict]} ({'clear' if clear else 'close'}, {percent(probability)})"

    at = f" in “{one.position}”" if one.position else ""
    was = said(one.verdict, one.probability, clear=one.clear)
    now = said(one.now_verdict, one.now_probability, clear=one.now_clear)
    return (
        f"{plain(one.job)}  {plain(one.step + at)}: {was} by rules {plain(one.rules, 10)}, "
        f"{now} by rules {one.now_rules}. {plain(one.why, 400)}"
    )


def _attach(args: argparse.Namespace, store: JobStore) -> int:
    with store.resume(args.job) as job:
        for file in args.files:
            copy = attach(job, Path(file), note=args.note)
            print(f"wrote {shown_path(copy)}")
    return 0


def _pack(args: argparse.Namespace, store: JobStore) -> int:
    job = store.job(args.job)
    target = Path(args.output) if args.output else Path(f"{job.name}{PACK_ENDING}")
    pack(job, target)
    print(f"wrote {shown_path(target)}")
    return 0


def _unpack(args: argparse.Namespace, store: JobStore) -> int:
    from captures.report.write import Audience, write_report

    if args.largest is not None and args.largest < 1:
        raise UsageError("--largest is a number of MiB, at least 1")
    largest = LARGEST if args.largest is None else args.largest << 20
    job = unpack(Path(args.file), store, largest=largest)
    print(f"wrote {shown_path(job.folder)}")
    check = check_job(job, thorough=True)
    if check.state is not State.WHOLE:
        print(check.sentence)
    reports = reports_in(Path(args.file))
    for audience in Audience:
        if audience.file_name in reports and check.state is not State.ALTERED:
            written = write_report(job, CARDS.get, audience, check=check)
            print(f"wrote {shown_path(written)}, made again from the record")
    for part in check.parts:
        if part.state is not State.WHOLE:
            print(part.sentence)
    return 0 if check.state is State.WHOLE else 1


def _mend(args: argparse.Namespace, store: JobStore) -> int:
    """Mend and say what was found; 1 where something is left that cannot be mended here."""
    if args.job:
        found = [finding for name in args.job for finding in mend_job(store.folder(name))]
    else:
        found = list(mend_store(store))
    for finding in found:
        if args.json:
            facts = {"job": as_utf8(finding.job), "says": finding.says, "mended": finding.mended}
            print_json(facts)
        else:
            print(f"{plain(finding.job)}: {plain(finding.says, 1000)}")
    left = sum(not finding.mended for finding in found)
    if not args.json:
        print(f"{counted(len(found), 'finding')}, {left} of them beyond mending here")
    return 1 if left else 0


def _keep_list(args: argparse.Namespace, store: JobStore) -> int:
    """Begin the store's running list, with what is closed already on it, and say its head."""
    begin_list(store.root)
    list(mend_store(store))
    head = read_list(store.root).head
    if args.json:
        print_json({"head": head})
    else:
        print(f"wrote {shown_path(store.root / LIST_NAME)}")
        print(f"its head is {head}; keep that elsewhere, and “meterlink verify --head” checks it")
    return 0


def _strike(args: argparse.Namespace, store: JobStore) -> int:
    """Strike, and say from how many lines; 1 where the text is not there."""
    if not args.text.strip():
        raise UsageError("say what is to be struck; an empty text is everywhere")
    job, count = strike(store.job(args.job), args.text.strip(), reason=args.reason, who=args.who)
    if args.json:
        print_json({"job": as_utf8(job.name), "lines": count})
    elif count:
        print(f"struck from {counted(count, 'line')} of {shown_path(job.folder)}")
        print("not from attached files, from packs, or from copies that are elsewhere")
    else:
        print("no title, entry or note of this job that can be struck has that text")
    return 0 if count else 1
