"""``meterlink practice``: find a hidden fault on a virtual engine, by the meter and by reason."""

import argparse
import sys
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import ExitStack

    from captures.training.trainees import TraineeStore
    from meterlink.profile import Profile
    from meterlink.training.case import Case, Order
    from meterlink.training.practice import Practice
    from tui.practice.diary import Diary

NAME: Final = "practice"
HELP: Final = "find a hidden fault on a virtual engine; no meter needed"
_DIFFICULTIES: Final = ("easy", "medium", "hard")
_BASE: Final = "pump-set-demo"
"""The profile that every engine goes by."""
_LONGEST: Final = 1000
"""Characters of a typed line that are looked at."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare which engine, who practises, and what is shown."""
    parser.add_argument("--seed", type=int, help="same seed, same engine (default: any)")
    parser.add_argument(
        "--difficulty", choices=_DIFFICULTIES, help="how hard the fault is to find (default easy)"
    )
    parser.add_argument(
        "--fault", help="this fault; who reads the command line knows it, --exercise hides it"
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


def run(args: argparse.Namespace) -> int:
    """Practise, or show the results."""
    from pathlib import Path

    from captures.training.trainees import TraineeStore

    store = TraineeStore(Path(args.trainees) if args.trainees else None)
    if args.results:
        return _show_results(store, args.trainee, args.json)
    return _practise(args, store)


def _show_results(store: "TraineeStore", name: str | None, as_json: bool) -> int:
    """Show one trainee's results, or everybody's in short; damaged lines are told at the end."""
    import json

    from meterlink.errors import UnreadableError
    from tui.practice.results import overview_lines, result_lines, result_objects
    from tui.settings.shelf import report_skipped

    shown = [store.results(name)] if name is not None else list(store.all())
    if as_json:
        for results in shown:
            for fact in result_objects(results):
                print(json.dumps(fact, ensure_ascii=False))
    else:
        lines = overview_lines(shown) if name is None else result_lines(shown[0])
        for line in lines:
            print(line)
    report_skipped([UnreadableError(said) for results in shown for said in results.damage])
    return 0


def _practise(args: argparse.Namespace, store: "TraineeStore") -> int:
    import time
    from contextlib import ExitStack

    from meterlink.training.practice import Practice
    from tui.announcing.signs import say as say_wrapped
    from tui.practice.order import options_of
    from tui.practice.results import kept, score_lines, scored
    from tui.settings.shelf import PROFILES

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
            import msgspec

            print(msgspec.json.encode(worth).decode())
        if diary is not None:
            say(f"kept in {diary.end(worth)}")
    return 0


def _begun(
    args: argparse.Namespace, store: "TraineeStore", base: "Profile", stack: "ExitStack"
) -> "tuple[Case, str, Diary | None]":
    """Return engine, story and diary of a practice that begins, or of the one to go on with.

    The trainee's file stays open in ``stack``, so that nobody else writes it meanwhile.
    """
    from meterlink.training.case import draw
    from tui.practice.diary import Diary, begin, check_same, interrupted, ordered_before
    from tui.practice.order import ordered

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
    from meterlink.errors import UsageError

    if args.trainee is None:
        raise UsageError("say whose practice to go on with, by --trainee NAME")
    given = (args.seed, args.difficulty, args.fault, args.complaint, args.exercise)
    if any(value is not None for value in given):
        raise UsageError("a practice that is gone on with has its engine; leave all else out")


def _how_to_go_on(args: argparse.Namespace, order: "Order") -> str:
    """Return what to say to somebody who leaves before the end."""
    from meterlink.quantities.text import plain
    from tui.practice.order import options_of

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
    practice: "Practice",
    args: argparse.Namespace,
    say: "Callable[[str], None]",
    diary: "Diary | None",
) -> bool:
    """Play on the screen, or by typed lines where there is no terminal.

    Returns whether it is over, rather than left to be gone on with another time.

    Raises:
        KeyboardInterrupt: the trainee broke off.
    """
    from contextlib import nullcontext

    from tui.plain.prompts import has_screen
    from tui.practice.bench import PracticeBench
    from tui.practice.order import recording
    from tui.practice.plain import PlainPractice

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


def _typed(prompt: str, say: "Callable[[str], None]") -> str | None:
    """Ask for a line; None at the end of all lines. A line that was piped in is shown."""
    if sys.stdin.isatty() and say is not _say_aside:
        try:
            return input(prompt)
        except EOFError:
            return None
    line = sys.stdin.readline(_LONGEST)
    if not line:
        return None
    from meterlink.quantities.text import plain

    say(f"{prompt}{plain(line.rstrip())}")
    return line


def _say_aside(line: str) -> None:
    print(line, file=sys.stderr)
