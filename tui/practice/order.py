"""Which engine is practised on, by command line or instructor's file; and its recording."""

import argparse
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from captures.record.files import open_regular
from meterlink.card import BenchEvent
from meterlink.declared import LARGEST_FILE
from meterlink.errors import UsageError
from meterlink.reading import Reading
from meterlink.training.case import Order, read_exercise
from tui.practice.bench import PracticeBench
from tui.session.setup import header_for, job_store, settings_of

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
