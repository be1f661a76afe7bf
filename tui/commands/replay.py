"""``meterlink replay``: a record through the same engine and screen as live."""

import argparse
import threading
from math import inf, isfinite
from pathlib import Path
from typing import Final

from captures.record.files import is_regular, safe_name
from captures.record.records import encode
from captures.record.replay import Played
from captures.record.verify import Verification
from captures.training import notes
from captures.training.catalogue import read_library
from captures.training.notes import read_notes
from drivers.clock import MonotonicClock
from meterlink.errors import UnreadableError, UsageError
from meterlink.quantities.notation import parse_as
from meterlink.quantities.text import plain
from tui.commands.shared import (
    damaged_too_option,
    jobs_option,
    json_option,
    pass_record,
    print_json,
)
from tui.plain.prompts import has_screen
from tui.replay.pacing import Pacing, Until, at_time, at_touch
from tui.replay.plain import PlainReplay, play_through, report_of
from tui.replay.player import ReplayPlayer
from tui.session.setup import job_store

AS_FAST_AS_CAN_BE: Final = "max"


def add_replay(parser: argparse.ArgumentParser) -> None:
    """Declare the record, where and how fast to play it, and what to hide."""
    parser.add_argument(
        "what",
        metavar="CAPTURE-OR-JOB",
        help="a capture, an exercise of the library by name, a job's folder or its name",
    )
    jobs_option(parser)
    parser.add_argument(
        "--speed",
        metavar="X",
        default="1",
        help=f"times its own pace, or “{AS_FAST_AS_CAN_BE}” (default 1)",
    )
    start = parser.add_mutually_exclusive_group()
    start.add_argument(
        "--from", metavar="T", dest="from_t", help="begin at this time, such as “12 s”"
    )
    start.add_argument("--touch", metavar="N", type=int, help="begin at touch N, counted from 1")
    parser.add_argument(
        "--step-by-step", action="store_true", help="wait after each thing that happens"
    )
    parser.add_argument(
        "--hide-verdict", action="store_true", help="ask for yours before a verdict is shown"
    )
    parser.add_argument("--who", default="", metavar="NAME", help="who answers, for the record")
    parser.add_argument("--answers", metavar="FILE", help="where answers are kept")
    parser.add_argument(
        "--check", action="store_true", help="play nothing; say whether the same comes out"
    )
    parser.add_argument(
        "--plain", action="store_true", help="a line per event instead of the screen"
    )
    damaged_too_option(parser)
    json_option(parser)
    parser.set_defaults(run=_run_replay)


def _run_replay(args: argparse.Namespace) -> int:
    """Play each capture of what was named; the highest exit code counts."""
    _checked(args)
    codes = []
    for path in _find_records(args.what, args.jobs):
        on_screen = not (args.check or args.json or args.plain) and has_screen()
        check = pass_record(args, path, beside=on_screen)
        if args.check or args.json:
            codes.append(_through(args, path, check))
        else:
            codes.append(_play(args, path, check, on_screen=on_screen))
    return max(codes)


def _checked(args: argparse.Namespace) -> None:
    if args.touch is not None and args.touch < 1:
        raise UsageError("touches are counted from 1; give --touch 1 or more")
    if (args.check or args.json) and (args.hide_verdict or args.step_by_step):
        raise UsageError("--check and --json play nothing that could be hidden or stepped through")


# --- without playing ----------------------------------------------------------------------------


def _through(args: argparse.Namespace, path: Path, check: Verification) -> int:
    """Replay as fast as can be; print the events as JSON where asked for, then what came of it."""
    with Played(path) as played:
        events = args.json and not args.check
        show = (lambda event: print(encode(event).decode(), end="")) if events else None
        report = play_through(played, read_notes(path), show)
        if args.json:
            record = {"record": check.state.value}
            facts = {"comparison": report.facts() | record} | record
            print_json(facts)
        else:
            print("\n".join(report.lines()))
        return report.exit_code


# --- playing ------------------------------------------------------------------------------------


def _play(args: argparse.Namespace, path: Path, check: Verification, *, on_screen: bool) -> int:
    player = ReplayPlayer(path, MonotonicClock(), _pacing(args), check)
    if args.hide_verdict:
        own = notes.default_folder() / f"{safe_name(args.who, 'trainee')}.jsonl"
        player.keep_answers(own if args.answers is None else Path(args.answers), args.who)
    try:
        until = _start(args)
        if until is not None:
            player.run_on(until)
        if not on_screen:
            code = _play_plain(player, hide=args.hide_verdict, step_by_step=args.step_by_step)
        else:
            from tui.replay.screen import run_replay_screen

            code = run_replay_screen(player, title=path.stem, hide=args.hide_verdict)
        return code or _end(args, player)
    finally:
        player.close()


def _pacing(args: argparse.Namespace) -> Pacing:
    if args.speed == AS_FAST_AS_CAN_BE:
        return Pacing(inf, paused=args.step_by_step)
    try:
        speed = float(args.speed)
    except ValueError:
        speed = 0.0
    if not (isfinite(speed) and speed > 0):
        raise UsageError(f"--speed is a number above zero, or “{AS_FAST_AS_CAN_BE}”")
    return Pacing(speed, paused=args.step_by_step)


def _start(args: argparse.Namespace) -> Until | None:
    if args.touch is not None:
        return at_touch(args.touch)
    if args.from_t is None:
        return None
    t = parse_as(args.from_t, "second").value
    if t < 0:
        raise UsageError("a record begins at 0 s; give a later time")
    return at_time(t)


def _play_plain(player: ReplayPlayer, *, hide: bool, step_by_step: bool) -> int:
    face = PlainReplay(player, step_by_step=step_by_step)
    if hide:
        player.ask = face.ask
    player.on_pause = face.wait
    player.run(threading.Event())
    face.end()
    return 0


def _end(args: argparse.Namespace, player: ReplayPlayer) -> int:
    """Say what came of it, where it was played to its end."""
    if not player.finished:
        return 0
    if player.running_on:
        replay = player.played.replay
        what = f"touch {args.touch}" if args.touch is not None else f"moment {args.from_t}"
        raise UsageError(
            f"{player.played.reader.name} has no {what}: "
            f"it has {replay.touches} touches and ends at {replay.t:.1f} s"
        )
    report = report_of(player.played, player.notes)
    print()
    print("\n".join(report.lines()))
    return report.exit_code


def _find_records(what: str, jobs: str | None) -> list[Path]:
    """Return the captures that ``what`` names, in the order in which they were begun.

    Raises:
        UnreadableError: there is nothing of that name, or the job has no capture.
    """
    path = Path(what)
    if is_regular(path):
        return [path]
    try:
        job = job_store(jobs).job(what)
    except UnreadableError as fault:
        exercise = read_library().find(what)
        if exercise is not None:
            return [exercise.capture]
        raise UnreadableError(
            f"there is no capture, exercise or job {plain(what)!r}; “meterlink library” lists "
            "the exercises, “meterlink jobs” the jobs"
        ) from fault
    captures = job.captures()
    if not captures:
        raise UnreadableError(f"the job {plain(job.name)} has no capture yet")
    return captures
