"""What is kept of a practice while it goes on, so that one that is interrupted is not lost."""

import hashlib
import secrets
import time
from collections.abc import Callable

import msgspec

from captures.times import local_now, rfc3339
from captures.trainees import LONGEST_TYPED, Begun, Record, TraineeStore, Typed, Unfinished
from meterlink import __version__
from meterlink.declared import to_plain
from meterlink.errors import CannotWriteError, UnreadableError, UsageError
from meterlink.practice import Case, Order, Practice
from meterlink.text import plain


class Diary:
    """Writes each line that a trainee types behind those before it, in the trainee's file."""

    def __init__(
        self,
        store: TraineeStore,
        name: str,
        begun: Begun,
        before: Unfinished | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Keep a practice that is ``begun`` now, or goes on from ``before``."""
        self.begun = begun
        self._store, self._name, self._clock = store, name, clock
        self._to_come = len(before.typed) if before else 0
        """Lines that are in the file already, and come again before the first new one."""
        earlier = before.typed[-1].seconds if before and before.typed else 0.0
        self._zero = clock() - earlier
        self._waiting: list[Record] = [] if before else [begun]
        self.trouble = ""
        """Why nothing is kept at this moment; empty while it is."""

    @property
    def seconds(self) -> float:
        """Seconds at the keyboard so far, in all sittings."""
        return self._clock() - self._zero

    def typed(self, practice: Practice, line: str) -> None:
        """Keep ``line``, which was just done; what cannot be written waits for the next."""
        if self._to_come:
            self._to_come -= 1
            return
        self._waiting.append(
            Typed(
                begun=self.begun.id,
                line=line[:LONGEST_TYPED],
                minutes=practice.ledger.minutes,
                checks=len(practice.ledger.checks),
                seconds=round(self.seconds, 1),
            )
        )
        try:
            self._store.append(self._name, *self._waiting)
        except CannotWriteError as fault:
            self.trouble = str(fault)
        else:
            self._waiting, self.trouble = [], ""


def begin(case: Case, story: str) -> Begun:
    """Return the record of a practice on ``case`` that begins now."""
    return Begun(
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


def order_of(begun: Begun) -> Order:
    """Return what was ordered.

    Raises:
        UnreadableError: it makes no sense.
    """
    try:
        return msgspec.convert(begun.order, Order)
    except msgspec.ValidationError as fault:
        raise UnreadableError(
            f"the practice begun {plain(begun.when, 40)} cannot be gone on with: its order makes "
            "no sense; begin a new one"
        ) from fault


def check_same(case: Case, begun: Begun) -> None:
    """Hold the engine against the one that was begun with.

    Raises:
        UnreadableError: it is another.
    """
    if mark_of(case) != begun.engine:
        raise UnreadableError(
            f"the practice begun {plain(begun.when, 40)} was on an engine of "
            f"{plain(begun.program, 60)}, which this version no longer makes; begin a new one"
        )
