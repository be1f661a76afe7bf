"""``meterlink bench``: the job, live, on a meter that is plugged in."""

import argparse
import contextlib
import sys
import threading
from typing import TYPE_CHECKING, Final

from tui.plain.terminal import forget_typed_ahead, has_screen

if TYPE_CHECKING:
    from captures.job.job import JobWriter
    from drivers.reconnect import ReconnectingSource
    from meterlink.card.card import Card
    from meterlink.card.profile import Profile
    from meterlink.events import Event
    from meterlink.source import Accuracy, Identity
    from tui.session.session import Session
    from tui.settings.configuration import Configuration, MeterChoice
    from tui.settings.screen_settings import ScreenSettings

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
    from drivers.opening import open_lasting
    from tui.session.meter_choice import choose
    from tui.session.setup import job_store, session, settings_of
    from tui.settings import configuration

    known = configuration.load()
    chosen = _choose_on_screen(args, known)
    if chosen is None:
        return 0
    args, who = chosen, chosen.who or known.who
    with contextlib.ExitStack() as opened:
        job, card, profile, past = _work(args, known.profile)
        if job is not None:
            opened.callback(print, f"wrote {job.folder}")
            opened.enter_context(job)
        choice = configuration.MeterChoice(port=args.port, wire=args.wire or "")
        if not args.port:
            choice = choose(known)
        clock = MonotonicClock()
        source = open_lasting(
            choice.port, wire=args.wire or choice.wire or None, visa=args.visa, clock=clock
        )
        opened.callback(source.close)
        if job is None:  # made only now, so that none is left behind where no meter answers
            title = args.job or card.title
            created = job_store(args.jobs).create(title, settings=settings_of(card, profile))
            opened.callback(print, f"wrote {created.folder}")
            job = opened.enter_context(created)
        accuracy = _accuracy(args, source, known)
        with session(job, source, clock, card, profile, accuracy=accuracy, past=past) as sitting:
            source.on_gap, source.on_setting = sitting.gap, sitting.turned
            _remember(known, choice, source.identity, args.profile)
            code = _show(args, sitting, job, who, known.screen)
    return code


def _choose_on_screen(
    args: argparse.Namespace, known: "Configuration"
) -> argparse.Namespace | None:
    """Where nothing was said, let job, meter, profile and card be chosen; None: the user left."""
    if args.port or args.job or args.profile or args.plain or not has_screen():
        return args
    from tui.screen.choosing import ChooseApp
    from tui.screen.offers import find_meters, offer
    from tui.session.setup import job_store

    app = ChooseApp(
        offer(job_store(args.jobs), known, args.card),
        lambda: find_meters(known),
        theme=known.screen.theme,
    )
    choice = app.run()
    if choice is None:
        return None
    said = {
        "port": choice.port,
        "wire": choice.wire or None,
        "profile": choice.profile,
        "card": choice.card,
        "job": choice.job or choice.title or None,
    }
    return argparse.Namespace(**{**vars(args), **said})


def _accuracy(
    args: argparse.Namespace, source: "ReconnectingSource", known: "Configuration"
) -> "tuple[Accuracy, ...]":
    """As given, else as the user keeps it for this meter, else as the wire's description says."""
    from drivers.frames import FrameSource
    from meterlink.quantities.notation import parse_accuracy

    if args.accuracy is not None:
        return (parse_accuracy(args.accuracy),)
    described = source.inner.wire.accuracies() if isinstance(source.inner, FrameSource) else ()
    return known.accuracy_of(source.identity) or described


def _remember(
    known: "Configuration", choice: "MeterChoice", identity: "Identity", profile: str | None
) -> None:
    """The next sitting begins with the same meter and profile; not worth failing for."""
    from msgspec.structs import replace

    from meterlink.errors import CannotWriteError
    from tui.settings import configuration

    now = replace(known, meter=replace(choice, identity=str(identity)))
    if profile:
        now = replace(now, profile=profile)
    if now != known:
        with contextlib.suppress(CannotWriteError):
            configuration.save(now)


def _work(
    args: argparse.Namespace, usual: str
) -> "tuple[JobWriter | None, Card, Profile, list[Event]]":
    """Return the job to go on with, None for one yet to be made, and what it is worked by."""
    from tui.session.setup import job_store, resume_job
    from tui.settings.shelf import CARDS, PROFILES, only_profile

    resumed = resume_job(job_store(args.jobs), args.job) if args.job else None
    if resumed is not None:
        return resumed
    card = CARDS.get(args.card)
    return None, card, PROFILES.get(args.profile or usual or only_profile()), []


def _show(
    args: argparse.Namespace,
    sitting: "Session",
    job: "JobWriter",
    who: str,
    settings: "ScreenSettings",
) -> int:
    if args.plain or not has_screen():
        return _run_plain(sitting, who)
    from tui.screen import run_bench_screen

    return run_bench_screen(
        sitting, title=job.folder.name, who=who, settings=settings, keep=_keep_settings
    )


def _keep_settings(settings: "ScreenSettings") -> None:
    """Remember what was changed on the screen; not worth failing for."""
    from msgspec.structs import replace

    from meterlink.errors import MeterlinkError
    from tui.settings import configuration

    with contextlib.suppress(MeterlinkError):
        configuration.save(replace(configuration.load(), screen=settings))


def _run_plain(sitting: "Session", who: str) -> int:
    from tui.announcing.teller import Teller
    from tui.plain.plain_face import PlainFace
    from tui.plain.typed_commands import HELP as TYPED
    from tui.plain.typed_commands import read_command

    face = PlainFace(Teller(sitting.bench.card), trouble=lambda: sitting.trouble)
    sitting.show(face)
    print(TYPED)
    stop = threading.Event()

    def listen() -> None:
        # Unbuffered: a thread that waits inside a buffered standard input cannot be left behind
        # at exit, Python would abort on the buffer's lock.
        with open(sys.stdin.fileno(), "rb", buffering=0, closefd=False) as typed:
            for line in typed:
                if line.strip().lower() == b"why":
                    face.why()
                    continue
                command = read_command(line.decode(errors="replace"), who)
                if command is None:
                    stop.set()
                    return
                sitting.tell(command)

    forget_typed_ahead()  # an Enter from before the cautions were shown acknowledges none of them
    sitting.begin()
    threading.Thread(target=listen, daemon=True, name="typed commands").start()
    try:
        sitting.run(stop)
    finally:
        face.end(sitting.bench.progress)
    return 0
