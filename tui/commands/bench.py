"""``meterlink bench``: the job, live, on a meter that is plugged in."""

import argparse
import contextlib
import sys
import threading
import time
from typing import Final, TextIO

from msgspec.structs import replace

from captures.job.job import JobWriter
from captures.record.files import local_now, rfc3339, shown_path
from drivers.clock import MonotonicClock
from drivers.frames.frame_source import FrameSource
from drivers.opening import ReconnectingSource, open_lasting
from drivers.simulated.bench import is_simulated
from meterlink.card import Card
from meterlink.commands import How, Redo
from meterlink.errors import CannotWriteError, UsageError
from meterlink.events import Event
from meterlink.judging.accuracy import Accuracy, parse_accuracy
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.source import Identity
from tui import settings
from tui.announcing.teller import Teller
from tui.commands.shared import (
    damaged_too_option,
    frames_option,
    jobs_option,
    pass_to_go_on,
    visa_option,
)
from tui.plain.json_face import JsonFace
from tui.plain.plain_face import HELP as TYPED
from tui.plain.plain_face import PlainFace, read_command
from tui.plain.prompts import forget_typed_ahead, has_screen
from tui.session.hands import borrowing
from tui.session.meters import choose_meter
from tui.session.session import Session
from tui.session.setup import (
    Resumed,
    called,
    check_open,
    check_same,
    job_store,
    resume_job,
    session,
    settings_of,
    worked_by,
)
from tui.settings import (
    CARDS,
    PROFILES,
    Configuration,
    MeterChoice,
    ScreenSettings,
    keep_screen,
    only_profile,
)

_CARD: Final = "ignition-check"
_HANDS: Final = "This meter is simulated, and simulated hands play the probes of this job."


def add_bench(parser: argparse.ArgumentParser) -> None:
    """Declare meter, card, profile, job and face."""
    parser.add_argument(
        "--port",
        help="VISA resource string, serial device as the system names it, or socket://HOST:PORT; "
        "left out where one meter is found",
    )
    frames_option(parser)
    visa_option(parser)
    parser.add_argument("--profile", metavar="P", help="coil profile, by name or path")
    parser.add_argument("--card", metavar="C", help=f"work card (default {_CARD})")
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--job",
        metavar="NAME",
        help="go on with the job of exactly this title or folder; where there is none, begin it",
    )
    which.add_argument("--new", metavar="TITLE", help="begin a new job of this title in any case")
    parser.add_argument(
        "--redo", metavar="STEP", help="do this step of the job again; a finished one is open then"
    )
    jobs_option(parser)
    damaged_too_option(parser)
    parser.add_argument("--accuracy", metavar="P%+N", help="of the meter, such as 0.8%%+3")
    parser.add_argument("--who", default="", metavar="NAME", help="who works, for the record")
    parser.add_argument(
        "--plain", action="store_true", help="a line per event; commands are typed lines"
    )
    parser.add_argument(
        "--json",
        action="store_true",
        help="the updates as JSON, one object a line; commands are typed lines",
    )
    parser.set_defaults(run=_run_bench)


def _run_bench(args: argparse.Namespace) -> int:
    """Run the card until it is done, or the user quits."""
    known = settings.load()
    chosen = _choose_on_screen(args, known)
    if chosen is None:
        return 0
    args, who = chosen, chosen.who or known.who
    with contextlib.ExitStack() as opened:
        past: list[Event] = []
        job = None
        resumed = _going_on(args)
        if resumed is None:
            _check_new(args)
            card, profile = _chosen(args, known.profile)
        else:
            job, card, profile, past = resumed
            _enter(args, opened, job, "going on with the job", "in")
        choice = MeterChoice(port=args.port, wire=args.wire or "")
        if not args.port:
            choice = choose_meter(known)
        clock = MonotonicClock()
        source = open_lasting(
            choice.port, wire=args.wire or choice.wire or None, visa=args.visa, clock=clock
        )
        opened.callback(source.close)
        if job is None:  # made only now, so that none is left behind where no meter answers
            title = args.new or args.job or card.title
            job = job_store(args.jobs).create(title, settings=settings_of(card, profile))
            _enter(args, opened, job, "new job", "begun in")
        accuracy = _accuracy(args, source, known)
        if (passport := known.passport_of(source.identity)) is not None:
            today = time.strftime("%Y-%m-%d")
            accuracy = passport.on(accuracy, today)
            if warning := passport.warning(today):
                print(warning)
        with session(
            job,
            source,
            clock,
            card,
            known.applied_to(profile),
            accuracy=accuracy,
            past=past,
            settings={"simulated": True} if is_simulated(source.identity) else None,
        ) as sitting:
            source.on_gap, source.on_setting = sitting.gap, sitting.turned
            _remember(known, choice, source.identity, args.profile)
            code = _show(args, sitting, job, who, known.screen)
    return code


def _enter(
    args: argparse.Namespace,
    opened: contextlib.ExitStack,
    job: JobWriter,
    what: str,
    place: str,
) -> None:
    """Say which job it is, close it at the end, and say where it lies."""
    title = plain(job.job.header().title)
    to = _words_to(args)
    print(f"{what} “{title}” {place} {shown_path(job.folder)}", file=to)
    opened.callback(print, f"wrote {job.folder}", file=to)
    opened.enter_context(job)


def _words_to(args: argparse.Namespace) -> TextIO:
    """Return where words for people go: beside standard output where that is for a program."""
    return sys.stderr if args.json else sys.stdout


def _choose_on_screen(args: argparse.Namespace, known: Configuration) -> argparse.Namespace | None:
    """Where nothing was said, let job, meter, profile and card be chosen; None: the user left."""
    if args.port or args.job or args.new or args.profile or _without_screen(args):
        return args
    from tui.screen.choosing import ChooseApp, find_meters, offer

    app = ChooseApp(
        offer(job_store(args.jobs), known, args.card or _CARD),
        lambda: find_meters(known),
        theme=known.screen.theme,
    )
    choice = app.run()
    if choice is None:
        return None
    said = {"port": choice.port, "wire": choice.wire or None}
    if choice.job:  # which has its own card and profile
        said |= {"job": choice.job, "card": None, "profile": None}
    else:
        said |= {"new": choice.title or None, "card": choice.card, "profile": choice.profile}
    return argparse.Namespace(**{**vars(args), **said})


def _accuracy(
    args: argparse.Namespace, source: ReconnectingSource, known: Configuration
) -> tuple[Accuracy, ...]:
    """As given, else as the user keeps it for this meter, else as the wire's description says."""
    if args.accuracy is not None:
        return (parse_accuracy(args.accuracy),)
    described = source.inner.wire.accuracies() if isinstance(source.inner, FrameSource) else ()
    return known.accuracy_of(source.identity) or described


def _remember(
    known: Configuration, choice: MeterChoice, identity: Identity, profile: str | None
) -> None:
    """The next sitting begins with the same meter and profile; not worth failing for."""
    now = replace(known, meter=replace(choice, identity=str(identity)))
    if profile:
        now = replace(now, profile=profile)
    if now != known:
        with contextlib.suppress(CannotWriteError):
            settings.save(now)


def _going_on(args: argparse.Namespace) -> Resumed | None:
    """Return the job to go on with; None for a new one."""
    store = job_store(args.jobs)
    job = called(store, args.job) if args.job else None
    if job is None:
        return None
    pass_to_go_on(args, job)
    check_open(job, redo=bool(args.redo))
    card, profile = worked_by(job)
    check_same(job, "card", card, CARDS.get(args.card) if args.card else None)
    check_same(job, "profile", profile, PROFILES.get(args.profile) if args.profile else None)
    if args.redo:
        _check_step(args.redo, card)
    return resume_job(store, str(job.folder))


def _check_new(args: argparse.Namespace) -> None:
    if args.redo:
        raise UsageError("a new job has no step to do again; name the job to go on with by --job")


def _check_step(name: str, card: Card) -> None:
    steps = [step.id for step in card.step]
    if name not in steps:
        raise UsageError(
            f"the card {plain(card.id)} has no step “{plain(name)}”; it has {', '.join(steps)}"
        )


def _chosen(args: argparse.Namespace, usual: str) -> tuple[Card, Profile]:
    """Return what a new job is to be worked by."""
    card = CARDS.get(args.card or _CARD)
    return card, PROFILES.get(args.profile or usual or only_profile())


def _show(
    args: argparse.Namespace,
    sitting: Session,
    job: JobWriter,
    who: str,
    settings: ScreenSettings,
) -> int:
    """Work on the screen or plain; a simulated meter may bring hands of its own."""
    plain = _without_screen(args)
    person = not plain or sys.stdin.isatty()
    with borrowing(sitting, person=person) as hands:
        if hands:
            print(_HANDS, file=_words_to(args))
        if plain:
            return _run_plain(sitting, who, args.redo, as_json=args.json)
        from tui.screen.app import BenchApp

        if args.redo:
            sitting.tell(_again(args.redo, who))
        app = BenchApp(
            sitting,
            title=job.folder.name,
            who=who,
            settings=settings,
            keep=keep_screen,
            where=str(job.folder),
        )
        return app.run() or 0


def _without_screen(args: argparse.Namespace) -> bool:
    return bool(args.plain or args.json or not has_screen())


def _again(step: str, who: str) -> Redo:
    return Redo(step=step, how=How.TYPED, who=who, when=rfc3339(local_now()))


def _plain_face(sitting: Session, *, as_json: bool) -> PlainFace | JsonFace:
    """Return the face for people or for a program, which sees everything from now on."""
    face: PlainFace | JsonFace
    if as_json:
        face = JsonFace(sys.stdout, lambda: sitting.trouble)
    else:
        teller = Teller(sitting.bench.card, sitting.bench.profile)
        face = PlainFace(teller, trouble=lambda: sitting.trouble)
        print(TYPED)
    sitting.show(face)
    return face


def _run_plain(sitting: Session, who: str, redo: str | None, *, as_json: bool) -> int:
    face = _plain_face(sitting, as_json=as_json)
    stop = threading.Event()
    taking, over = threading.Lock(), threading.Event()

    def take(line: str) -> None:
        if isinstance(face, PlainFace) and line.strip().lower() == "why":
            face.why()
            return
        command = read_command(line, who, sitting.bench.step)
        if command is None:
            stop.set()
        else:
            sitting.tell(command)

    def listen() -> None:
        # Unbuffered: a thread that waits inside a buffered standard input cannot be left behind
        # at exit, Python would abort on the buffer's lock.
        with open(sys.stdin.fileno(), "rb", buffering=0, closefd=False) as typed:
            for line in typed:
                with taking:  # what is typed as all ends comes before the end, or not at all
                    if over.is_set() or stop.is_set():
                        return
                    take(line.decode(errors="replace"))

    forget_typed_ahead()  # an Enter from before the cautions were shown acknowledges none of them
    sitting.begin()
    if redo:
        sitting.tell(_again(redo, who))
    threading.Thread(target=listen, daemon=True, name="typed commands").start()
    try:
        sitting.run(stop)
    finally:
        with taking:
            over.set()
        face.end(sitting.bench.progress)
    return 0
