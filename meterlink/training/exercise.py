"""An exercise: a case that an instructor orders beforehand, in a file to hand over.

format = 1
title = "Third evening"
story = "Ran all day at the flood, then would not start again."
seed = 7
difficulty = "hard"
fault = "poor-earth"      # left out: any, by the seed
complaint = "no-spark"    # left out: any that goes with the fault
"""

from typing import Annotated, Literal

import msgspec

from meterlink.declared import InvalidFileError, decode
from meterlink.errors import UsageError
from meterlink.quantities.text import plain
from meterlink.training.case import Difficulty, Order, check_order


class PracticeExercise(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the file says."""

    format: Literal[1]
    title: Annotated[str, msgspec.Meta(max_length=80)] = ""
    story: Annotated[str, msgspec.Meta(max_length=600)] = ""
    seed: Annotated[int, msgspec.Meta(ge=0, le=2**53)] = 1
    difficulty: Difficulty = "medium"
    fault: Annotated[str, msgspec.Meta(max_length=80)] = ""
    complaint: Annotated[str, msgspec.Meta(max_length=80)] = ""

    @property
    def order(self) -> Order:
        """The case that it orders."""
        return Order(
            seed=self.seed,
            difficulty=self.difficulty,
            fault=self.fault,
            complaint=self.complaint,
        )


def read_exercise(data: bytes, name: str) -> PracticeExercise:
    """Return the exercise in ``data``, a TOML text; ``name`` stands for it in errors.

    Raises:
        InvalidFileError: it does not say what it must, or orders what there is not.
    """
    exercise = decode(data, PracticeExercise, name)
    try:
        check_order(exercise.order)
    except UsageError as fault:
        raise InvalidFileError(f"{plain(name)}: {fault}") from fault
    return msgspec.structs.replace(
        exercise, title=plain(exercise.title), story=plain(exercise.story, 600)
    )
