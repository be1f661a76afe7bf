"""``meterlink library``: recorded exercises, listed, checked, made again, packed and unpacked."""

import argparse
import tempfile
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import fill
from typing import Final

import msgspec
import tomli_w
from msgspec.structs import replace

from captures.job.store import JobStore
from captures.record.files import is_regular, open_regular
from captures.record.replay import Played
from captures.record.writer import RecordWriter
from captures.training import catalogue
from captures.training.catalogue import (
    CATALOGUE,
    PACK_ENDING,
    Exercise,
    Made,
    Shelved,
    faults_of,
    pack_exercises,
    read_catalogue,
    read_library,
    unpack_exercises,
)
from captures.training.notes import ENDING
from drivers.opening import open_source
from drivers.scpi.dialect import ScpiOptions
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.bench.bench import Bench
from meterlink.errors import CannotWriteError, UsageError
from meterlink.quantities.text import plain
from tui.commands.shared import json_option, print_json, report_skipped, seed
from tui.session.hands import connect_hands
from tui.session.session import Session
from tui.session.setup import header_for
from tui.settings import CARDS, PROFILES


def add_library(parser: argparse.ArgumentParser) -> None:
    """Declare what to do; without a word it lists."""
    parser.set_defaults(run=_list)
    does = parser.add_subparsers(metavar="WHAT")

    listing = does.add_parser("list", help="one line for each exercise")

    show = does.add_parser("show", help="what one exercise is about")
    show.add_argument("name", metavar="NAME")
    show.add_argument(
        "--explain", action="store_true", help="with the explanation, which gives it away"
    )
    show.set_defaults(run=_show)

    check = does.add_parser("check", help="seals, events and stated results; 1 where one is wrong")
    check.add_argument("name", nargs="*", metavar="NAME", help="left out: every exercise")
    check.set_defaults(run=_check)

    make = does.add_parser("make", help="make the shipped captures again on the simulated bench")
    make.add_argument("folder", metavar="DIR", help="where to put them")
    make.add_argument("--seed", type=seed, help="this seed for all, for captures nobody has seen")
    make.set_defaults(run=_make)

    pack = does.add_parser("pack", help="put a folder of exercises into one file")
    pack.add_argument("folder", metavar="DIR", help="with catalogue.toml, captures and notes")
    pack.add_argument("--output", metavar="FILE", help="default: DIR.exercises.zip, here")
    pack.set_defaults(run=_pack)

    unpack = does.add_parser("unpack", help="take a packed folder of exercises into the library")
    unpack.add_argument("file", metavar="FILE")
    unpack.set_defaults(run=_unpack)
    json_option(parser, listing, show, check, make, pack, unpack)


def _say(args: argparse.Namespace, facts: dict[str, object], words: str) -> None:
    print_json(facts) if args.json else print(words)


def _list(args: argparse.Namespace) -> int:
    library = read_library()
    for shelved in library.shelf:
        exercise = shelved.exercise
        line = f"{exercise.id:<26} {exercise.difficulty:<9} {exercise.title}"
        _say(args, _facts(shelved, explain=False), line)
    report_skipped(library.faults)
    return 0


def _facts(shelved: Shelved, *, explain: bool) -> dict[str, object]:
    facts: dict[str, object] = msgspec.to_builtins(shelved.exercise)
    for gives_away in () if explain else ("explanation", "expect", "close", "fault", "made"):
        del facts[gives_away]
    return facts | {"capture": str(shelved.capture)}


def _show(args: argparse.Namespace) -> int:
    shelved = read_library().get(args.name)
    lines = _lines(shelved, explain=args.explain)
    _say(args, _facts(shelved, explain=args.explain), "\n".join(lines))
    return 0


def _lines(shelved: Shelved, *, explain: bool) -> Iterator[str]:
    exercise = shelved.exercise
    with Played(shelved.capture) as played:
        header = played.header
        steps = {step.id: step for step in played.beginning.card.step}
    yield f"{exercise.title} ({exercise.difficulty})"
    yield fill(f"To learn: {exercise.goal}", 90)
    made = "made by the simulated bench" if header.settings.get("simulated") else "a real capture"
    yield f"Capture: {shelved.capture}, {made}, card “{plain(header.card, 80)}”"
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
    yield f"Play it with “meterlink replay {exercise.id} --hide-verdict”."


def _check(args: argparse.Namespace) -> int:
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
    for path in make_library(read_catalogue(catalogue.SHIPPED), Path(args.folder), args.seed):
        _say(args, {"wrote": str(path)}, f"wrote {path}")
    return 0


def _pack(args: argparse.Namespace) -> int:
    folder = Path(args.folder)
    target = Path(args.output or f"{folder.resolve().name}{PACK_ENDING}")
    manifest = pack_exercises(folder, target)
    files = len(manifest.files)
    _say(args, {"wrote": str(target), "files": files}, f"wrote {target}, {files} files")
    return 0


def _unpack(args: argparse.Namespace) -> int:
    folder = unpack_exercises(Path(args.file), catalogue.own_folder())
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


STARTED: Final = "2026-11-03T09:00:00.000+00:00"
"""The start that every capture of the library says it has."""
PORT: Final = "simulated"


def make_capture(made: Made, path: Path) -> None:
    """Record the scenario of ``made`` into the new file ``path``.

    Raises:
        UsageError: there is no such scenario, card or profile.
        CannotWriteError: the file exists or cannot be written.
    """
    scenario = load_scenario(made.scenario)
    scenario = replace(scenario, meter=replace(scenario.meter, nplc=made.nplc))
    card, profile = CARDS.get(scenario.card), PROFILES.get(scenario.profile)
    accuracy = scenario.accuracy()
    with (
        tempfile.TemporaryDirectory() as aside,
        SimulatedBench(scenario, seed=made.seed) as simulated,
        JobStore(Path(aside)).create(scenario.title) as job,
    ):
        options = ScpiOptions(nplc=made.nplc)
        source = open_source(simulated.port, clock=simulated.clock, options=options)
        try:
            header = replace(
                header_for(
                    card,
                    profile,
                    replace(source.identity, port=PORT),
                    accuracy=accuracy,
                    settings={"simulated": True, **msgspec.to_builtins(made)},
                ),
                started=STARTED,
                title=scenario.title,
            )
            with RecordWriter.create(path, header) as capture:
                bench = Bench(card, profile, accuracy=accuracy)
                sitting = Session(bench, source, job, capture, simulated.clock)
                connect_hands(sitting, simulated)
                sitting.run(threading.Event())
        finally:
            source.close()


def make_library(shelf: Sequence[Shelved], folder: Path, seed: int | None) -> Iterator[Path]:
    """Make the captures of ``shelf`` again in ``folder``, with catalogue and notes; yield them.

    ``seed``: another one than the catalogue's, for captures that nobody has seen.

    Raises:
        CannotWriteError: the folder or a file cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for shelved in shelf:
            yield _make_one(shelved.exercise.id, _made(shelved.exercise, seed), folder)
            if is_regular(shelved.notes):
                yield _copy(shelved.notes, folder / f"{shelved.exercise.id}{ENDING}")
        if seed is None:
            yield _copy(shelf[0].folder / CATALOGUE, folder / CATALOGUE)
        else:
            yield _write_catalogue([shelved.exercise for shelved in shelf], seed, folder)
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(folder))} cannot be written: {fault.strerror}"
        ) from fault


def _made(exercise: Exercise, seed: int | None) -> Made:
    made = exercise.made
    if made is None:
        raise UsageError(f"“{exercise.id}” was captured on a real engine and cannot be made again")
    return made if seed is None else replace(made, seed=seed)


def _make_one(name: str, made: Made, folder: Path) -> Path:
    """Put a new capture in the place of an old one once it is whole."""
    fresh = folder / f".{name}.jsonl.new"
    fresh.unlink(missing_ok=True)
    make_capture(made, fresh)
    return fresh.replace(folder / f"{name}.jsonl")


def _write_catalogue(exercises: Sequence[Exercise], seed: int, folder: Path) -> Path:
    seeded = [replace(exercise, made=_made(exercise, seed)) for exercise in exercises]
    text = tomli_w.dumps({"format": 1, "exercise": [msgspec.to_builtins(one) for one in seeded]})
    target = folder / CATALOGUE
    target.write_text(text, encoding="utf-8", newline="\n")
    return target


def _copy(source: Path, target: Path) -> Path:
    if target.exists() and target.samefile(source):
        return target
    with open_regular(source) as file:
        target.write_bytes(file.read())
    return target
