"""``meterlink practice``: find a hidden fault on a virtual engine, by the meter and by reason."""

import argparse
import secrets
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from pathlib import Path
from typing import Final

from captures.record.files import open_regular
from captures.training.trainees import TraineeStore
from meterlink.card import BenchEvent
from meterlink.declared import LARGEST_FILE
from meterlink.errors import UnreadableError, UsageError
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.reading import Reading
from meterlink.training.case import Case, Order, draw, read_exercise
from meterlink.training.practice import Practice
from tui.announcing.signs import say as say_wrapped
from tui.commands.shared import print_json, report_skipped
from tui.plain.prompts import has_screen
from tui.practice.bench import PracticeBench
from tui.practice.plain import PlainPractice
from tui.practice.results import (
    Diary,
    begin,
    check_same,
    interrupted,
    kept,
    ordered_before,
    overview_lines,
    result_lines,
    result_objects,
    score_lines,
    scored,
)
from tui.session.setup import header_for, job_store, settings_of
from tui.settings import PROFILES

_DIFFICULTIES: Final = ("easy", "medium", "hard")
_BASE: Final = "pump-set-demo"
"""The profile that every engine goes by."""
_LONGEST: Final = 1000
"""Characters of a typed line that are looked at."""


def add_practice(parser: argparse.ArgumentParser) -> None:
    """Declare which engine, who practises, and what is shown."""
    parser.add_argument("--seed", type=int, help="same seed, same engine (default: any)")
    parser.add_argument(
        "--difficulty", choices=_DIFFICULTIES, help="how hard the fault is to find (default easy)"
    )
    parser.add_argument(
        "--fault",
        help="this fault, or two joined by +; who reads the command line knows, --exercise hides",
    )
    parser.add_argument("--complaint", help="what the engine comes in with")
    parser.add_argument(
        "--exercise", metavar="FILE", help="an engine that an instructor ordered, fault and all"
    )
    parser.add_argument("--trainee", metavar="NAME", help="keep the results under this name")
    parser.add_argument(
        "--resume", action="store_true", help="go on with the trainee's last interrupted practice"
    )
    parser.add_argument("--trainees", metavar="DIR", help="where results are kept")
    parser.add_argument("--jobs", metavar="DIR", help="keep all readings and events as a job here")
    parser.add_argument("--results", action="store_true", help="show results instead of practising")
    parser.add_argument("--plain", action="store_true", help="by typed lines, without the screen")
    parser.add_argument("--json", action="store_true", help="results as JSON, one object a line")
    parser.set_defaults(run=_run_practice)


def _run_practice(args: argparse.Namespace) -> int:
    """Practise, or show the results."""
    store = TraineeStore(Path(args.trainees) if args.trainees else None)
    if args.results:
        return _show_results(store, args.trainee, args.json)
    return _practise(args, store)


def _show_results(store: TraineeStore, name: str | None, as_json: bool) -> int:
    """Show one trainee's results, or everybody's in short; damaged lines are told at the end."""
    shown = [store.results(name)] if name is not None else list(store.all())
    if as_json:
        for results in shown:
            for fact in result_objects(results):
                print_json(fact)
    else:
        lines = overview_lines(shown) if name is None else result_lines(shown[0])
        for line in lines:
            print(line)
    report_skipped([UnreadableError(said) for results in shown for said in results.damage])
    return 0


def _practise(args: argparse.Namespace, store: TraineeStore) -> int:
    say = _say_aside if args.json else say_wrapped
    base = PROFILES.get(_BASE)
    with ExitStack() as stack:
        case, story, diary = _begun(args, store, base, stack)
        practice = Practice(case)
        if story:
            say(story)
        began = time.monotonic()
        try:
            over = _play(practice, args, say, diary)
        except KeyboardInterrupt:
            say("")
            say(f"Interrupted; {_how_to_go_on(args, case.order)}")
            raise
        if not over:
            say(f"Left for later; {_how_to_go_on(args, case.order)}")
            return 0
        seconds = time.monotonic() - began if diary is None else diary.seconds
        judged = scored(practice, base)
        say("")
        for line in score_lines(judged, seconds):
            say(line)
        say(f"The same engine again: {options_of(case.order)}")
        worth = kept(case, judged, seconds, "" if diary is None else diary.begun.id)
        if args.json:
            print_json(worth)
        if diary is not None:
            say(f"kept in {diary.end(worth)}")
    return 0


def _begun(
    args: argparse.Namespace, store: TraineeStore, base: Profile, stack: ExitStack
) -> tuple[Case, str, Diary | None]:
    """Return engine, story and diary of a practice that begins, or of the one to go on with.

    The trainee's file stays open in ``stack``, so that nobody else writes it meanwhile.
    """
    if args.resume:
        _check_resume(args)
        file = stack.enter_context(store.open(args.trainee, known=True))
        before = interrupted(store, args.trainee)
        order, story = ordered_before(before.begun)
        case = draw(order, base)
        check_same(case, before.begun)
        return case, story, Diary(file, before.begun, before)
    order, story = ordered(args)
    case = draw(order, base)
    if args.trainee is None:
        return case, story, None
    file = stack.enter_context(store.open(args.trainee))
    return case, story, Diary(file, begin(case, story))


def _check_resume(args: argparse.Namespace) -> None:
    if args.trainee is None:
        raise UsageError("say whose practice to go on with, by --trainee NAME")
    given = (args.seed, args.difficulty, args.fault, args.complaint, args.exercise)
    if any(value is not None for value in given):
        raise UsageError("a practice that is gone on with has its engine; leave all else out")


def _how_to_go_on(args: argparse.Namespace, order: Order) -> str:
    """Return what to say to somebody who leaves before the end."""
    if args.trainee is None:
        # What was ordered names the fault; an exercise must not give it away.
        again = f"--exercise {plain(args.exercise)}" if args.exercise else options_of(order)
        return f"without --trainee nothing is kept. The same engine again: {again}"
    where = f" --trainees {plain(args.trainees)}" if args.trainees else ""
    return (
        "what you did is kept. Go on with: "
        f"meterlink practice --resume --trainee {plain(args.trainee)!r}{where}"
    )


def _play(
    practice: Practice,
    args: argparse.Namespace,
    say: Callable[[str], None],
    diary: Diary | None,
) -> bool:
    """Play on the screen, or by typed lines where there is no terminal.

    Returns whether it is over, rather than left to be gone on with another time.

    Raises:
        KeyboardInterrupt: the trainee broke off.
    """
    with (
        PracticeBench(practice) as bench,
        recording(bench, args.jobs) if args.jobs else nullcontext() as job,
    ):
        lines = None if diary is None else diary.earlier
        if args.plain or args.json or not has_screen():
            face = PlainPractice(practice, bench, say, diary)
            if lines is None:
                face.play(lambda prompt: _typed(prompt, say))
            else:
                face.again(lines)
                face.go_on(lambda prompt: _typed(prompt, say))
            over = not face.later
        else:
            from tui.practice.screen import run_practice_screen

            over = run_practice_screen(practice, bench, diary, lines)
    if job is not None:
        say(f"wrote {job}")
    return over


def _typed(prompt: str, say: Callable[[str], None]) -> str | None:
    """Ask for a line; None at the end of all lines. A line that was piped in is shown."""
    if sys.stdin.isatty() and say is not _say_aside:
        try:
            return input(prompt)
        except EOFError:
            return None
    line = sys.stdin.readline(_LONGEST)
    if not line:
        return None
    say(f"{prompt}{plain(line.rstrip())}")
    return line


def _say_aside(line: str) -> None:
    print(line, file=sys.stderr)


_LARGEST_SEED: Final = 2**53


def ordered(args: argparse.Namespace) -> tuple[Order, str]:
    """Return what the options order, and the story that goes with it.

    Raises:
        UsageError: the options do not go together, or make no sense.
        UnreadableError: the exercise's file cannot be read.
        InvalidFileError: it does not say what it must.
    """
    if args.exercise is not None:
        given = (args.seed, args.difficulty, args.fault, args.complaint)
        if any(value is not None for value in given):
            raise UsageError(
                "an exercise orders the engine; leave seed, difficulty, fault and complaint out"
            )
        return _by_exercise(args.exercise)
    seed = secrets.randbelow(10**6) if args.seed is None else args.seed
    if not 0 <= seed <= _LARGEST_SEED:
        raise UsageError(f"a seed of {seed} makes no sense; give 0 to {_LARGEST_SEED}")
    order = Order(
        seed=seed,
        difficulty=args.difficulty or "easy",
        fault=args.fault or "",
        complaint=args.complaint or "",
    )
    return order, ""


def options_of(order: Order) -> str:
    """Return the options that order the same engine again."""
    options = {"fault": order.fault, "complaint": order.complaint}
    given = "".join(f" --{option} {value}" for option, value in options.items() if value)
    return f"--seed {order.seed} --difficulty {order.difficulty}{given}"


def _by_exercise(file: str) -> tuple[Order, str]:
    with open_regular(Path(file)) as opened:
        exercise = read_exercise(opened.read(LARGEST_FILE + 1), file)
    return exercise.order, ": ".join(filter(None, (exercise.title, exercise.story)))


@contextmanager
def recording(bench: PracticeBench, folder: str) -> Iterator[Path]:
    """Keep all that ``bench`` reads and says as a job in ``folder``; yield the job's own.

    Raises:
        CannotWriteError: it cannot be made.
    """
    card, profile = bench.bench.card, bench.bench.profile
    settings = settings_of(card, profile) | {"practice": True}
    header = header_for(
        card,
        profile,
        bench.identity,
        accuracy=bench.bench.accuracy,
        past=bench.past,
        settings={"practice": True},
    )
    with (
        job_store(folder).create("Practice", settings=settings) as job,
        job.new_capture(header) as capture,
    ):

        def keep(what: Reading | BenchEvent) -> None:
            capture.append(what)
            if not isinstance(what, Reading):
                job.log.append(what)

        bench.keep = keep
        yield job.folder
