"""``meterlink ask``: one question to all jobs at once."""

import argparse
import contextlib
import sys
import tempfile
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import pyarrow

    from captures.archive.answers import Asker
    from captures.archive.dataset import DataSet
    from captures.archive.questions import Question

NAME: Final = "ask"
HELP: Final = "ask across all jobs: ready questions, or your own in SQL"


_FORMATS: Final = ("csv", "parquet", "xlsx", "html")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the question, to whom it goes, and how the answer is given."""
    parser.add_argument("question", nargs="?", metavar="QUESTION", help="left out: list them")
    parser.add_argument("--sql", help="a question of your own, in SQL as DuckDB takes it")
    whom = parser.add_mutually_exclusive_group()
    whom.add_argument("--jobs", metavar="DIR", help="ask the jobs in this folder")
    whom.add_argument("--archive", metavar="DIR", help="ask a data set, by folder or URL")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument("--picture", action="store_true", help="draw a ready question's answer")
    parser.add_argument("--output", metavar="FILE", help="write it: .csv, .parquet, .xlsx or .html")
    parser.add_argument(
        "--format", choices=("csv", "parquet", "xlsx", "html"), help="of the answer"
    )


def run(args: argparse.Namespace) -> int:
    """Ask, and give the answer as it is wanted."""
    from captures.archive.answers import asking
    from captures.archive.questions import QUESTIONS
    from meterlink.errors import UsageError
    from meterlink.quantities.text import plain

    if args.question is None and args.sql is None:
        _list(args)
        return 0
    if args.question is not None and args.sql is not None:
        raise UsageError("give the name of a ready question or --sql, not both")
    question = QUESTIONS.get(args.question) if args.sql is None else None
    if question is None and args.sql is None:
        known = ", ".join(QUESTIONS)
        raise UsageError(f"there is no question «{plain(args.question)}»; there are {known}")
    if args.picture and question is None:
        raise UsageError("--picture draws the answer to a ready question, not to --sql")
    how = _format(args)
    with _data(args, question.sql if question else args.sql) as data, asking(data) as asker:
        answer = question.ask(asker) if question else asker.ask(args.sql)
        if question is not None:
            _tell_left_out(asker)
        _give(args, answer, how, question)
    return 0


def _list(args: argparse.Namespace) -> None:
    import msgspec

    from captures.archive.questions import QUESTIONS
    from captures.archive.tables import TABLES
    from tui.announcing.signs import say

    if args.json:
        for question in QUESTIONS.values():
            facts = {"question": question.name, "about": question.about, "sql": question.sql}
            print(msgspec.json.encode(facts).decode())
        return
    for question in QUESTIONS.values():
        say(f"{question.name:<10}  {question.about}")
    say(f"\nWith --sql the tables are {', '.join(TABLES)}.")


def _format(args: argparse.Namespace) -> str:
    from captures.archive.answers import FORMATS
    from meterlink.errors import UsageError

    ending = (args.output or "").rpartition(".")[2].lower()
    how: str = args.format or ending
    if args.output is None and args.format not in (None, "csv"):
        raise UsageError(f"{args.format} is no text; name a file to write it to with --output")
    if args.output is not None and how not in FORMATS:
        raise UsageError("the file's ending is none of .csv, .parquet, .xlsx, .html; give --format")
    return how if args.output is not None else args.format or ""


@contextlib.contextmanager
def _data(args: argparse.Namespace, sql: str) -> "Iterator[DataSet]":
    """Yield the data set to ask; of jobs in a folder one is made, for as long as it takes."""
    from captures.archive.dataset import DataSet
    from meterlink.errors import UnreadableError

    if args.archive is not None:
        data = DataSet(args.archive)
        if not data.exists:
            raise UnreadableError(
                f"{data.name} holds no archive; «meterlink archive {data.name}» brings jobs in"
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


def _tell_left_out(asker: "Asker") -> None:
    from captures.archive.questions import left_out
    from meterlink.wording import counted

    for record, jobs in left_out(asker).items():
        many = counted(jobs, "job")
        print(f"left out: {many} whose record is {record}; verify names why", file=sys.stderr)


def _give(
    args: argparse.Namespace, answer: "pyarrow.Table", how: str, question: "Question | None"
) -> None:
    from pathlib import Path

    import msgspec

    from captures.archive.answers import page_of, rows_in, when, write_answer, write_csv_answer
    from captures.exchange.export import new_file
    from captures.record.files import shown_path
    from meterlink.wording import counted
    from tui.plain.answers import picture_lines, table_lines

    if args.output is not None:
        path = Path(args.output)
        if how == "html":
            title = question.about if question else args.sql
            page = page_of(answer, title, question.drawing if question else None)
            with new_file(path) as file:
                file.write(page.encode())
        else:
            write_answer(answer, path, how)
        print(f"wrote {shown_path(path)}, {counted(answer.num_rows, 'row')}", file=sys.stderr)
    elif args.json:
        names = answer.column_names
        for row in rows_in(answer):
            facts = dict(zip(names, map(when, row), strict=True))
            print(msgspec.json.encode(facts, enc_hook=str).decode())
    elif how == "csv":
        if (reconfigure := getattr(sys.stdout, "reconfigure", None)) is not None:
            reconfigure(newline="")  # the line ends are those of RFC 4180 already
        write_csv_answer(answer, sys.stdout)
    elif args.picture and question is not None:
        for line in picture_lines(answer, question.drawing):
            print(line)
    else:
        for line in table_lines(answer):
            print(line)
        if not answer.num_rows:
            print("no row answers this question")
