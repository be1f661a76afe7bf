"""``meterlink library``: recorded exercises, listed, checked, made again, packed and unpacked."""

import argparse
from typing import TYPE_CHECKING, Final

from tui.commands._options import seed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from captures.training.catalogue import Shelved

NAME: Final = "library"
HELP: Final = "recorded exercises to learn from: list, show, check, make, pack, unpack"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to do; without a word it lists."""
    _common(parser)
    does = parser.add_subparsers(dest="does", metavar="WHAT")

    listing = does.add_parser("list", help="one line for each exercise")
    _common(listing, again=True)

    show = does.add_parser("show", help="what one exercise is about")
    show.add_argument("name", metavar="NAME")
    show.add_argument(
        "--explain", action="store_true", help="with the explanation, which gives it away"
    )
    _common(show, again=True)

    check = does.add_parser("check", help="seals, events and stated results; 1 where one is wrong")
    check.add_argument("name", nargs="*", metavar="NAME", help="left out: every exercise")
    _common(check, again=True)

    make = does.add_parser("make", help="make the shipped captures again on the simulated bench")
    make.add_argument("folder", metavar="DIR", help="where to put them")
    make.add_argument("--seed", type=seed, help="this seed for all, for captures nobody has seen")
    _common(make, again=True)

    pack = does.add_parser("pack", help="put a folder of exercises into one file")
    pack.add_argument("folder", metavar="DIR", help="with catalogue.toml, captures and notes")
    pack.add_argument("--output", metavar="FILE", help="default: DIR.exercises.zip, here")
    _common(pack, again=True)

    unpack = does.add_parser("unpack", help="take a packed folder of exercises into the library")
    unpack.add_argument("file", metavar="FILE")
    _common(unpack, again=True)


def run(args: argparse.Namespace) -> int:
    """Do what was asked."""
    does = {
        "show": _show,
        "check": _check,
        "make": _make,
        "pack": _pack,
        "unpack": _unpack,
    }
    return does.get(args.does, _list)(args)


def _common(parser: argparse.ArgumentParser, *, again: bool = False) -> None:
    """``--json`` may stand before or after the word."""
    parser.add_argument(
        "--json",
        action="store_true",
        default=argparse.SUPPRESS if again else False,
        help="one JSON object a line",
    )


def _say(args: argparse.Namespace, facts: dict[str, object], words: str) -> None:
    import msgspec

    print(msgspec.json.encode(facts).decode() if args.json else words)


def _list(args: argparse.Namespace) -> int:
    from captures.training.catalogue import read_library
    from tui.settings.shelf import report_skipped

    library = read_library()
    for shelved in library.shelf:
        exercise = shelved.exercise
        line = f"{exercise.id:<26} {exercise.difficulty:<9} {exercise.title}"
        _say(args, _facts(shelved, explain=False), line)
    report_skipped(library.faults)
    return 0


def _facts(shelved: "Shelved", *, explain: bool) -> dict[str, object]:
    import msgspec

    facts: dict[str, object] = msgspec.to_builtins(shelved.exercise)
    for gives_away in () if explain else ("explanation", "expect", "close", "fault", "made"):
        del facts[gives_away]
    return facts | {"capture": str(shelved.capture)}


def _show(args: argparse.Namespace) -> int:
    from captures.training.catalogue import read_library

    shelved = read_library().get(args.name)
    lines = _lines(shelved, explain=args.explain)
    _say(args, _facts(shelved, explain=args.explain), "\n".join(lines))
    return 0


def _lines(shelved: "Shelved", *, explain: bool) -> "Iterator[str]":
    from textwrap import fill

    from captures.record.replay import Played
    from meterlink.quantities.text import plain

    exercise = shelved.exercise
    with Played(shelved.capture) as played:
        header = played.header
        steps = {step.id: step for step in played.beginning.card.step}
    yield f"{exercise.title} ({exercise.difficulty})"
    yield fill(f"To learn: {exercise.goal}", 90)
    made = "made by the simulated bench" if header.settings.get("simulated") else "a real capture"
    yield f"Capture: {shelved.capture}, {made}, card «{plain(header.card, 80)}»"
    if explain:
        yield ""
        yield fill(exercise.explanation, 90)
        for step, outcome in exercise.expect.items():
            outcomes = (outcome,) if isinstance(outcome, str) else outcome
            if step not in steps:
                yield f"  {plain(step)}: the card has no such step"
                continue
            words = " or ".join(steps[step].outcome_words(one) for one in outcomes)
            close = ", too close to call" if step in exercise.close else ""
            yield f"  {plain(steps[step].title)}: {plain(words)}{close}"
    yield ""
    yield f"Play it with «meterlink replay {exercise.id} --hide-verdict»."


def _check(args: argparse.Namespace) -> int:
    from captures.training.catalogue import faults_of, read_library
    from tui.settings.shelf import report_skipped

    library = read_library()
    shelf = [library.get(name) for name in args.name] or library.shelf
    wrong = 0
    for shelved in shelf:
        faults = list(faults_of(shelved))
        wrong += bool(faults)
        words = "\n".join(faults) or f"{shelved.exercise.id}: as it should be"
        _say(args, {"id": shelved.exercise.id, "faults": faults}, words)
    if not args.name:
        report_skipped(library.faults)
    return 1 if wrong else 0


def _make(args: argparse.Namespace) -> int:
    from pathlib import Path

    from captures.training.catalogue import SHIPPED, read_catalogue
    from tui.replay.library_maker import make_library

    for path in make_library(read_catalogue(SHIPPED), Path(args.folder), args.seed):
        _say(args, {"wrote": str(path)}, f"wrote {path}")
    return 0


def _pack(args: argparse.Namespace) -> int:
    from pathlib import Path

    from captures.training.catalogue import PACK_ENDING, pack_exercises

    folder = Path(args.folder)
    target = Path(args.output or f"{folder.resolve().name}{PACK_ENDING}")
    manifest = pack_exercises(folder, target)
    files = len(manifest.files)
    _say(args, {"wrote": str(target), "files": files}, f"wrote {target}, {files} files")
    return 0


def _unpack(args: argparse.Namespace) -> int:
    from pathlib import Path

    from captures.training.catalogue import (
        own_folder,
        read_catalogue,
        read_library,
        unpack_exercises,
    )

    folder = unpack_exercises(Path(args.file), own_folder())
    shelf = read_catalogue(folder)
    names = [shelved.exercise.id for shelved in shelf]
    words = f"wrote {folder}: {', '.join(names)}"
    library = read_library()
    hidden = [s for s in shelf if library.get(s.exercise.id).folder != folder]
    for shelved in hidden:
        other = library.get(shelved.exercise.id).folder
        words += (
            f"\n{shelved.exercise.id} is there already, in {other}, and is the one played by that "
            f"name; play this one by its file, {shelved.capture}"
        )
    ids = [shelved.exercise.id for shelved in hidden]
    _say(args, {"wrote": str(folder), "exercises": names, "hidden": ids}, words)
    return 0
