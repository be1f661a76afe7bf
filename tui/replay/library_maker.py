"""Makes the library's captures: the simulated bench, read through the real driver by a session.

Everything that a wall clock or a free port would bring in is pinned, so that the same catalogue
makes the same files to the last byte on the same kind of computer.
"""

import tempfile
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import msgspec
import tomli_w
from msgspec.structs import replace

from captures.job.store import JobStore
from captures.record.files import is_regular, open_regular
from captures.record.writer import RecordWriter
from captures.training.catalogue import CATALOGUE, Exercise, Made, Shelved
from captures.training.notes import ENDING
from drivers.opening import open_source
from drivers.scpi.dialect import ScpiOptions
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.bench.bench import Bench
from meterlink.errors import CannotWriteError, UsageError
from meterlink.quantities.text import plain
from tui.session.hands import connect_hands
from tui.session.session import Session
from tui.session.setup import header_for
from tui.settings.shelf import CARDS, PROFILES

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
            yield _make(shelved.exercise.id, _made(shelved.exercise, seed), folder)
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
        raise UsageError(f"«{exercise.id}» was captured on a real engine and cannot be made again")
    return made if seed is None else replace(made, seed=seed)


def _make(name: str, made: Made, folder: Path) -> Path:
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
