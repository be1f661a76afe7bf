"""All jobs as one data set: ``archive`` brings them in, ``ask`` asks across them."""

import argparse
import contextlib
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

import msgspec

from captures.record.files import as_utf8, shown_path
from meterlink.errors import UnreadableError, UsageError
from meterlink.quantities.text import plain
from meterlink.wording import counted
from tui.announcing.signs import say
from tui.commands.shared import jobs_option, json_option, print_json
from tui.plain.answers import picture_lines, table_lines

if TYPE_CHECKING:  # the data set's libraries are an extra, and slow to load
    import pyarrow

    from captures.archive.answers import Answer, Asker
    from captures.archive.archiver import Brought
    from captures.archive.dataset import DataSet
    from captures.archive.questions import ArchiveQuestion

_WHOLE: Final = "whole"


def add_archive(parser: argparse.ArgumentParser) -> None:
    """Declare where to, which jobs, and from where they are."""
    parser.add_argument(
        "archive", metavar="DIR", help="folder of the data set, or a URL such as s3://BUCKET/PATH"
    )
    jobs_option(parser)
    parser.add_argument("--site", metavar="NAME", default="", help="where these benches stand")
    parser.add_argument(
        "--workers", type=int, default=2, metavar="N", help="read with N processes (default 2)"
    )
    json_option(parser)
    parser.set_defaults(run=_run_archive)


def _run_archive(args: argparse.Namespace) -> int:
    """Bring in what is new, and name each job whose record is not whole."""
    from captures.archive.archiver import archive_jobs
    from captures.archive.dataset import DataSet
    from tui.session.setup import job_store

    if not 1 <= args.workers <= 64:
        raise UsageError("--workers is a number from 1 to 64")
    states: dict[str, int] = {}

    def tell(brought: "Brought") -> None:
        states[brought.record] = states.get(brought.record, 0) + 1
        if args.json:
            facts = {"job": as_utf8(brought.job), "record": brought.record, "why": brought.why}
            print_json(facts)
        elif brought.record != _WHOLE:
            print(_not_whole(brought), file=sys.stderr)

    data = DataSet(args.archive)
    store = job_store(args.jobs)
    count = archive_jobs(store, data, site=args.site, workers=args.workers, tell=tell)
    if args.json:
        summary = {"archived": count, "states": states, "archive": data.name}
        print_json({"summary": summary})
    else:
        said = ", ".join(f"{number} {state}" for state, number in sorted(states.items()))
        print(f"{data.name}: {counted(count, 'job')} brought in" + (f": {said}" if said else ""))
    return 0


def _not_whole(brought: "Brought") -> str:
    return f"{plain(brought.job)}: {brought.record}. {brought.why}"


_FORMATS: Final = ("csv", "parquet", "xlsx", "html")


def add_ask(parser: argparse.ArgumentParser) -> None:
    """Declare the question, to whom it goes, and how the answer is given."""
    parser.add_argument("question", nargs="?", metavar="QUESTION", help="left out: list them")
    parser.add_argument("--sql", help="a question of your own, in SQL as DuckDB takes it")
    whom = parser.add_mutually_exclusive_group()
    whom.add_argument("--jobs", metavar="DIR", help="ask the jobs in this folder")
    whom.add_argument("--archive", metavar="DIR", help="ask a data set, by folder or URL")
    json_option(parser)
    parser.add_argument("--picture", action="store_true", help="draw a ready question's answer")
    parser.add_argument("--output", metavar="FILE", help="write it: .csv, .parquet, .xlsx or .html")
    parser.add_argument("--format", choices=_FORMATS, help="of the answer")
    parser.set_defaults(run=_run_ask)


def _run_ask(args: argparse.Namespace) -> int:
    """Ask, and give the answer as it is wanted."""
    from captures.archive.answers import asking
    from captures.archive.questions import QUESTIONS

    if args.question is None and args.sql is None:
        _list_questions(args)
        return 0
    if args.question is not None and args.sql is not None:
        raise UsageError("give the name of a ready question or --sql, not both")
    question = QUESTIONS.get(args.question) if args.sql is None else None
    if question is None and args.sql is None:
        known = ", ".join(QUESTIONS)
        raise UsageError(f"there is no question “{plain(args.question)}”; there are {known}")
    if args.picture and question is None:
        raise UsageError("--picture draws the answer to a ready question, not to --sql")
    how = _format_of(args)
    with _data_to_ask(args, question.sql if question else args.sql) as data, asking(data) as asker:
        _tell_not_whole(asker, ready=question is not None)
        if question is not None:
            _give_answer(args, question.ask(asker), how, question)
        elif args.json or how in {"csv", "parquet", "xlsx"}:
            _give_rows(args, asker.stream(args.sql), how)
        else:
            _give_answer(args, asker.ask(args.sql), how, None)
    return 0


def _list_questions(args: argparse.Namespace) -> None:
    from captures.archive.questions import QUESTIONS
    from captures.archive.tables import TABLES

    if args.json:
        for question in QUESTIONS.values():
            facts = {"question": question.name, "about": question.about, "sql": question.sql}
            print_json(facts)
        return
    for question in QUESTIONS.values():
        say(f"{question.name:<10}  {question.about}")
    say(f"\nWith --sql the tables are {', '.join(TABLES)}.")


def _format_of(args: argparse.Namespace) -> str:
    ending = (args.output or "").rpartition(".")[2].lower()
    how: str = args.format or ending
    if args.output is None and args.format not in (None, "csv"):
        raise UsageError(f"{args.format} is no text; name a file to write it to with --output")
    if args.output is not None and how not in _FORMATS:
        raise UsageError("the file's ending is none of .csv, .parquet, .xlsx, .html; give --format")
    return how if args.output is not None else args.format or ""


@contextlib.contextmanager
def _data_to_ask(args: argparse.Namespace, sql: str) -> "Iterator[DataSet]":
    """Yield the data set to ask; of jobs in a folder one is made, for as long as it takes."""
    from captures.archive.dataset import DataSet

    if args.archive is not None:
        data = DataSet(args.archive)
        if not data.exists:
            raise UnreadableError(
                f"{data.name} holds no archive; “meterlink archive {data.name}” brings jobs in"
            )
        yield data
        return
    # Only here, as it takes the whole bench to read jobs, and a data set is asked without.
    from captures.archive.answers import may_need_readings
    from captures.archive.archiver import archive_jobs
    from tui.session.setup import job_store

    with tempfile.TemporaryDirectory(prefix="meterlink-asking-") as folder:
        data = DataSet(folder)
        archive_jobs(job_store(args.jobs), data, readings=may_need_readings(sql))
        yield data


def _tell_not_whole(asker: "Asker", *, ready: bool) -> None:
    """Say of how many jobs the record is not whole; ``ready``: a ready question leaves some out."""
    from captures.archive.questions import not_whole

    for record, jobs, is_counted in not_whole(asker):
        many = f"{counted(jobs, 'job')} whose record is {record}"
        if not ready:
            says = f"among all: {many}, as the column “record” says of each row"
        elif is_counted:
            says = f"counted, though more may have been there: {many}"
        else:
            says = f"left out: {many}"
        print(f"{says}; verify names why", file=sys.stderr)


def _give_answer(
    args: argparse.Namespace, answer: "pyarrow.Table", how: str, question: "ArchiveQuestion | None"
) -> None:
    from captures.archive.answers import page_of
    from captures.exchange.export import new_file

    if how == "html":
        path = Path(args.output)
        title = question.about if question else args.sql
        page = page_of(answer, title, question.drawing if question else None)
        with new_file(path) as file:
            file.write(page.encode())
        print(f"wrote {shown_path(path)}, {counted(answer.num_rows, 'row')}", file=sys.stderr)
    elif how or args.json:
        _give_rows(args, answer, how)
    elif args.picture and question is not None:
        for line in picture_lines(answer, question.drawing):
            print(line)
    else:
        for line in table_lines(answer):
            print(line)
        if not answer.num_rows:
            print("no row answers this question")


def _give_rows(args: argparse.Namespace, answer: "Answer", how: str) -> None:
    """Give an answer row by row, so that it may be larger than the memory."""
    from captures.archive.answers import rows_in, when, write_answer, write_csv_answer

    if args.output is not None:
        path = Path(args.output)
        count = write_answer(answer, path, how)
        print(f"wrote {shown_path(path)}, {counted(count, 'row')}", file=sys.stderr)
    elif args.json:
        names = answer.schema.names
        for row in rows_in(answer):
            facts = dict(zip(names, map(when, row), strict=True))
            print(msgspec.json.encode(facts, enc_hook=str).decode())
    else:
        if (reconfigure := getattr(sys.stdout, "reconfigure", None)) is not None:
            reconfigure(newline="")  # the line ends are those of RFC 4180 already
        write_csv_answer(answer, sys.stdout)
