"""``meterlink bench``: the job, live, on a meter that is plugged in."""

import argparse
import contextlib
import sys
import threading
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from captures.job import JobWriter
    from meterlink.card import Card
    from meterlink.events import Event
    from meterlink.profile import Profile
    from tui.session import Session

NAME: Final = "bench"
HELP: Final = "work a card on a live meter, hands on the probes"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare meter, card, profile, job and face."""
    parser.add_argument(
        "--port",
        help="VISA resource string, serial device as the system names it, or socket://HOST:PORT; "
        "left out where one meter is found",
    )
    parser.add_argument("--wire", help="the meter's byte format, where it cannot be found out")
    parser.add_argument("--visa", choices=["py", "system"], help="go through this VISA library")
    parser.add_argument("--profile", metavar="P", help="coil profile, by name or path")
    parser.add_argument("--card", metavar="C", default="ignition-check", help="work card")
    parser.add_argument("--job", metavar="TITLE", help="a new job's title, or a job to go on with")
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    parser.add_argument("--accuracy", metavar="P%+N", help="of the meter, such as 0.8%%+3")
    parser.add_argument("--who", default="", metavar="NAME", help="who works, for the record")
    parser.add_argument(
        "--plain", action="store_true", help="a line per event; commands are typed lines"
    )


def run(args: argparse.Namespace) -> int:
    """Run the card until it is done, or the user quits."""
    from drivers.clock import MonotonicClock
    from drivers.opening import open_source
    from meterlink.notation import parse_accuracy
    from tui.choosing import choose_port
    from tui.setting_up import session

    accuracy = () if args.accuracy is None else (parse_accuracy(args.accuracy),)
    with _job(args) as (job, card, profile, past):
        clock = MonotonicClock()
        port = args.port or choose_port()
        source = open_source(port, wire=args.wire, visa=args.visa, clock=clock)
        try:
            with session(
                job, source, clock, card, profile, accuracy=accuracy, past=past
            ) as sitting:
                code = _show(args, sitting, job)
        finally:
            source.close()
    print(f"wrote {job.folder}")
    return code


@contextlib.contextmanager
def _job(
    args: argparse.Namespace,
) -> "Iterator[tuple[JobWriter, Card, Profile, list[Event]]]":
    """Yield the job to work on, and what it is worked by: a new one, or one to go on with."""
    from tui.setting_up import job_store, resume_job, settings_of
    from tui.shelf import CARDS, PROFILES, only_profile

    store = job_store(args.jobs)
    resumed = resume_job(store, args.job) if args.job else None
    if resumed is not None:
        with resumed.job as job:
            yield job, resumed.card, resumed.profile, resumed.past
        return
    card = CARDS.get(args.card)
    profile = PROFILES.get(args.profile or only_profile())
    with store.create(args.job or card.title, settings=settings_of(card, profile)) as job:
        yield job, card, profile, []


def _show(args: argparse.Namespace, sitting: "Session", job: "JobWriter") -> int:
    if args.plain or not sys.stdout.isatty():
        return _run_plain(sitting, args.who)
    from tui.screen import run_bench_screen

    return run_bench_screen(sitting, title=job.folder.name)


def _run_plain(sitting: "Session", who: str) -> int:
    from tui.plain_face import PlainFace
    from tui.telling import Teller
    from tui.typed_commands import HELP as TYPED
    from tui.typed_commands import read_command

    face = PlainFace(Teller(sitting.bench.card))
    sitting.show(face)
    print(TYPED)
    stop = threading.Event()

    def listen() -> None:
        # Unbuffered: a thread that waits inside a buffered standard input cannot be left behind
        # at exit, Python would abort on the buffer's lock.
        with open(sys.stdin.fileno(), "rb", buffering=0, closefd=False) as typed:
            for line in typed:
                command = read_command(line.decode(errors="replace"), who)
                if command is None:
                    stop.set()
                    return
                sitting.tell(command)

    threading.Thread(target=listen, daemon=True, name="typed commands").start()
    try:
        sitting.run(stop)
    finally:
        face.end(sitting.bench.progress)
    return 0
