"""What is kept of a practice while it goes on, so that one that is interrupted is not lost."""

import hashlib
import secrets
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from captures.record.files import local_now, rfc3339
from captures.training.trainees import (
    LONGEST_TYPED,
    PracticeBegun,
    Practised,
    TraineeFile,
    TraineeRecord,
    TraineeStore,
    Typed,
    Unfinished,
)
from meterlink import __version__
from meterlink.declared import to_plain
from meterlink.errors import UnreadableError, UsageError
from meterlink.quantities.text import plain
from meterlink.training.case import Case, Order
from meterlink.training.practice import Practice


class Diary:
    """Writes each line that a trainee types behind those before it, in the trainee's file."""

    def __init__(
        self,
        file: TraineeFile,
        begun: PracticeBegun,
        before: Unfinished | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Keep a practice that is ``begun`` now, or goes on from ``before``."""
        self.begun = begun
        self._file, self._clock = file, clock
        self.earlier = None if before is None else [typed.line for typed in before.typed]
        """Lines typed before the interruption, oldest first; None where there was none."""
        self._to_come = len(self.earlier or ())
        """Lines that are in the file already, and come again before the first new one."""
        earlier = before.typed[-1].seconds if before and before.typed else 0.0
        self._zero = clock() - earlier
        self._first: tuple[TraineeRecord, ...] = () if before else (begun,)
        """What goes before the next line: a practice in which nothing was done is not kept."""

    @property
    def seconds(self) -> float:
        """Seconds at the keyboard so far, in all sittings."""
        return self._clock() - self._zero

    @property
    def trouble(self) -> str:
        """Why nothing can be written at this moment; empty while it can."""
        return self._file.trouble

    def typed(self, practice: Practice, line: str) -> None:
        """Keep ``line``, which was just done; what cannot be written waits."""
        if self._to_come:
            self._to_come -= 1
            return
        typed = Typed(
            begun=self.begun.id,
            line=line[:LONGEST_TYPED],
            minutes=practice.ledger.minutes,
            checks=len(practice.ledger.checks),
            seconds=round(self.seconds, 1),
        )
        self._file.append(*self._first, typed)
        self._first = ()

    def end(self, worth: Practised) -> Path:
        """Keep what the practice was worth, and let go of the file; return it.

        Raises:
            CannotWriteError: something could not be written, and is lost.
        """
        self._file.append(worth)
        self._file.close()
        return self._file.path


def begin(case: Case, story: str) -> PracticeBegun:
    """Return the record of a practice on ``case`` that begins now."""
    return PracticeBegun(
        id=secrets.token_hex(8),
        when=rfc3339(local_now()),
        program=f"meterlink {__version__}",
        order=msgspec.to_builtins(case.order),
        complaint=case.model.complaint,
        story=story,
        engine=mark_of(case),
    )


def mark_of(case: Case) -> str:
    """Return a mark of the engine, the same as long as the engine is, that gives nothing away."""
    engine = msgspec.json.encode([to_plain(case.patient), case.range])
    return hashlib.sha256(engine).hexdigest()[:16]


def interrupted(store: TraineeStore, name: str) -> Unfinished:
    """Return the practice of ``name`` that was interrupted last.

    Raises:
        UsageError: there is none.
        UnreadableError: there are no results of that name, or they cannot be read.
    """
    unfinished = store.results(name).unfinished
    if not unfinished:
        raise UsageError(f"«{plain(name)}» has no practice that was interrupted; begin a new one")
    return unfinished[-1]


def ordered_before(begun: PracticeBegun) -> tuple[Order, str]:
    """Return what was ordered, and the story that goes with it.

    Raises:
        UnreadableError: the order makes no sense.
    """
    try:
        return msgspec.convert(begun.order, Order), plain(begun.story, LONGEST_TYPED)
    except msgspec.ValidationError as fault:
        raise UnreadableError(
            f"the practice begun {plain(begun.when, 40)} cannot be gone on with: its order makes "
            "no sense; begin a new one"
        ) from fault


def check_same(case: Case, begun: PracticeBegun) -> None:
    """Hold the engine against the one that was begun with.

    Raises:
        UnreadableError: it is another.
    """
    if mark_of(case) != begun.engine:
        raise UnreadableError(
            f"the practice begun {plain(begun.when, 40)} was on an engine of "
            f"{plain(begun.program, 60)}, which this version no longer makes; begin a new one"
        )
