"""Which engine is practised on, as the command line or an instructor's file orders it."""

import argparse
import secrets
from pathlib import Path
from typing import Final

from captures.record.reader import open_regular
from meterlink.declared import LARGEST_FILE
from meterlink.errors import UsageError
from meterlink.training.case import Order
from meterlink.training.exercise import read_exercise

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
