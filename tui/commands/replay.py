"""``meterlink replay``: a record through the same engine and screen as live."""

import argparse
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Final

from tui.commands._gate import add_damaged_too, pass_record
from tui.plain.prompts import has_screen

if TYPE_CHECKING:
    from captures.record.verify import Verification
    from tui.replay.pacing import Pacing, Until
    from tui.replay.player import ReplayPlayer

NAME: Final = "replay"
HELP: Final = "play a record again, at its own pace or another, and compare what comes out"

AS_FAST_AS_CAN_BE: Final = "max"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the record, where and how fast to play it, and what to hide."""
    parser.add_argument(
        "what",
        metavar="CAPTURE-OR-JOB",
        help="a capture, an exercise of the library by name, a job's folder or its name",
    )
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    parser.add_argument(
        "--speed",
        metavar="X",
        default="1",
        help=f"times its own pace, or «{AS_FAST_AS_CAN_BE}» (default 1)",
    )
    start = parser.add_mutually_exclusive_group()
    start.add_argument(
        "--from", metavar="T", dest="from_t", help="begin at this time, such as «12 s»"
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
    add_damaged_too(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """Play each capture of what was named; the highest exit code counts."""
    from tui.replay.locate import find_records

    _checked(args)
    codes = []
    for path in find_records(args.what, args.jobs):
        on_screen = not (args.check or args.json or args.plain) and has_screen()
        check = pass_record(args, path, beside=on_screen)
        if args.check or args.json:
            codes.append(_through(args, path, check))
        else:
            codes.append(_play(args, path, check, on_screen=on_screen))
    return max(codes)


def _checked(args: argparse.Namespace) -> None:
    from meterlink.errors import UsageError

    if args.touch is not None and args.touch < 1:
        raise UsageError("touches are counted from 1; give --touch 1 or more")
    if (args.check or args.json) and (args.hide_verdict or args.step_by_step):
        raise UsageError("--check and --json play nothing that could be hidden or stepped through")


# --- without playing ----------------------------------------------------------------------------


def _through(args: argparse.Namespace, path: Path, check: "Verification") -> int:
    """Replay as fast as can be; print the events as JSON where asked for, then what came of it."""
    import msgspec

    from captures.record.records import encode
    from captures.record.replay import Played
    from captures.training.notes import read_notes
    from tui.replay.outcome import play_through

    with Played(path) as played:
        events = args.json and not args.check
        show = (lambda event: print(encode(event).decode(), end="")) if events else None
        report = play_through(played, read_notes(path), show)
        if args.json:
            record = {"record": check.state.value}
            facts = {"comparison": report.facts() | record} | record
            print(msgspec.json.encode(facts).decode())
        else:
            print("\n".join(report.lines()))
        return report.exit_code


# --- playing ------------------------------------------------------------------------------------


def _play(args: argparse.Namespace, path: Path, check: "Verification", *, on_screen: bool) -> int:
    from captures.record.files import safe_name
    from captures.training.notes import default_folder
    from drivers.clock import MonotonicClock
    from tui.replay.player import ReplayPlayer

    player = ReplayPlayer(path, MonotonicClock(), _pacing(args), check)
    if args.hide_verdict:
        own = default_folder() / f"{safe_name(args.who, 'trainee')}.jsonl"
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


def _pacing(args: argparse.Namespace) -> "Pacing":
    from math import inf, isfinite

    from meterlink.errors import UsageError
    from tui.replay.pacing import Pacing

    if args.speed == AS_FAST_AS_CAN_BE:
        return Pacing(inf, paused=args.step_by_step)
    try:
        speed = float(args.speed)
    except ValueError:
        speed = 0.0
    if not (isfinite(speed) and speed > 0):
        raise UsageError(f"--speed is a number above zero, or «{AS_FAST_AS_CAN_BE}»")
    return Pacing(speed, paused=args.step_by_step)


def _start(args: argparse.Namespace) -> "Until | None":
    from meterlink.errors import UsageError
    from meterlink.quantities.notation import parse_as
    from tui.replay.pacing import at_time, at_touch

    if args.touch is not None:
        return at_touch(args.touch)
    if args.from_t is None:
        return None
    t = parse_as(args.from_t, "second").value
    if t < 0:
        raise UsageError("a record begins at 0 s; give a later time")
    return at_time(t)


def _play_plain(player: "ReplayPlayer", *, hide: bool, step_by_step: bool) -> int:
    from tui.replay.plain import PlainReplay

    face = PlainReplay(player, step_by_step=step_by_step)
    if hide:
        player.ask = face.ask
    player.on_pause = face.wait
    player.run(threading.Event())
    face.end()
    return 0


def _end(args: argparse.Namespace, player: "ReplayPlayer") -> int:
    """Say what came of it, where it was played to its end."""
    from meterlink.errors import UsageError
    from tui.replay.outcome import report_of

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
