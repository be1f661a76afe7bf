"""Are the events that a replay gives those that were recorded? If not: which, in what?

Equal means equal to the last bit, and in the same order: both rows of events are hashed as they
would be written. To say what differs, events of one kind, step and position are paired: first
equal ones, and what is left in the order in which it happened.
"""

import hashlib
from collections import deque
from collections.abc import Iterator
from enum import Enum
from math import isclose
from typing import Any, Final, NamedTuple

import msgspec

from captures.record.records import encode
from meterlink.events import Event

ROUNDING: Final = 1e-9
"""Numbers that differ by less, as a share, differ in how a processor rounds and nothing else."""
SENTENCES: Final = frozenset({"say", "advice"})
"""Fields with a sentence for people: wording may get better, while what happened stays the same."""

_WAITING: Final = 64
"""So many events may wait for their like before the oldest is given up as having none."""
_DIGITS: Final = 4
"""Fewest digits of a number in a sentence."""
_FIELDS_SAID: Final = 3
"""So many fields of an event are said; all are in the facts."""
_NAMED: Final = 1000
"""So many differences are kept; all are counted."""
_DECODER: Final = msgspec.json.Decoder(dict[str, Any])


class Side(Enum):
    """Which of the two rows of events."""

    RECORDED = "recorded"
    NOW = "now"


class ChangedField(NamedTuple):
    """A field in which two events differ."""

    name: str
    recorded: Any
    now: Any

    @property
    def rounding(self) -> bool:
        """Whether they are the same but for rounding."""
        a, b = self.recorded, self.now
        numbers = isinstance(a, int | float) and isinstance(b, int | float)
        return numbers and isclose(a, b, rel_tol=ROUNDING, abs_tol=1e-12)

    @property
    def worded(self) -> bool:
        """Whether the same is said in other words."""
        return self.name in SENTENCES and bool(self.recorded) and bool(self.now)

    @property
    def sentence(self) -> str:
        """The difference, numbers with no more digits than it takes to see it."""
        was, is_ = repr(self.recorded), repr(self.now)
        if isinstance(self.recorded, float) and isinstance(self.now, float):
            for digits in range(_DIGITS, 18):
                was, is_ = f"{self.recorded:#.{digits}g}", f"{self.now:#.{digits}g}"
                if was != is_:
                    break
        return f"{self.name} was {was}, is {is_}"


class Difference(NamedTuple):
    """An event that is not as it was recorded, or is there only once."""

    number: int
    """Of the event in its row, the recorded one where there are both; counted from 1."""
    t: float
    kind: str
    where: str
    """Step and position; empty where it has none."""
    only: Side | None
    """In which row alone it is; None where it is in both."""
    fields: tuple[ChangedField, ...] = ()

    @property
    def rounding(self) -> bool:
        """Whether nothing differs but rounding."""
        return self.only is None and all(field.rounding for field in self.fields)

    @property
    def harmless(self) -> bool:
        """Whether nothing differs but rounding and the words of a sentence."""
        return self.only is None and all(field.rounding or field.worded for field in self.fields)

    @property
    def sentence(self) -> str:
        """The difference in one sentence."""
        where = f" of {self.where}" if self.where else ""
        what = f"event {self.number} at {self.t:.3f} s, {self.kind}{where}"
        if self.only is Side.RECORDED:
            return f"{what}: was recorded, and does not happen now"
        if self.only is Side.NOW:
            return f"{what}: happens now, and was not recorded"
        fields = "; ".join(field.sentence for field in self.fields[:_FIELDS_SAID])
        more = len(self.fields) - _FIELDS_SAID
        return f"{what}: {fields}{f'; and {more} more of it' if more > 0 else ''}"


class _Waiting(NamedTuple):
    number: int
    event: Event
    line: bytes

    @property
    def like(self) -> tuple[str, str, str]:
        """What it must have in common with its like."""
        kind = str(self.event.__struct_config__.tag)
        return kind, getattr(self.event, "step", ""), getattr(self.event, "position", "")


class Comparison:
    """Takes both rows of events as they come, in memory that does not grow with them."""

    def __init__(self) -> None:
        self.differences: list[Difference] = []
        """The first of them."""
        self.different = 0
        """How many there are, rounding and wording aside."""
        self.rounded = 0
        """How many events differ in rounding alone."""
        self.worded = 0
        """How many events say the same in other words."""
        self.counts = {Side.RECORDED: 0, Side.NOW: 0}
        self._waiting: dict[Side, deque[_Waiting]] = {row: deque() for row in Side}
        self._hashes = {row: hashlib.sha256() for row in Side}

    @property
    def exact(self) -> bool:
        """Whether both rows are the same, to the last bit, so far."""
        return self._hashes[Side.RECORDED].digest() == self._hashes[Side.NOW].digest()

    @property
    def equal(self) -> bool:
        """Whether nothing differs but rounding and wording; final once ``finish`` was called."""
        return self.different == 0

    def awaited(self) -> Iterator[Event]:
        """Yield the recorded events that have not happened now, oldest first."""
        for waiting in self._waiting[Side.RECORDED]:
            yield waiting.event

    def take(self, row: Side, event: Event) -> None:
        """Take the next event of one row."""
        line = encode(event)
        self._hashes[row].update(line)
        self.counts[row] += 1
        other = self._waiting[Side.NOW if row is Side.RECORDED else Side.RECORDED]
        for index, waiting in enumerate(other):
            if waiting.line == line:
                del other[index]
                return
        mine = self._waiting[row]
        mine.append(_Waiting(self.counts[row], event, line))
        if len(mine) > _WAITING:
            self._pair()

    def finish(self, *, cut: bool = False) -> None:
        """Both rows have ended; ``cut``: the recorded one may have ended too early."""
        self._pair()
        for row in Side:
            for waiting in self._waiting[row]:
                if not (cut and row is Side.NOW):
                    self._differ(_alone(row, waiting))
            self._waiting[row].clear()
        if not (self.exact or cut or self.differences):
            kept = Difference(
                1, 0.0, "order", "", None, (ChangedField("order", "as recorded", "other"),)
            )
            self._differ(kept)

    def _pair(self) -> None:
        """Pair what waits on both sides; of a side that is full, give up the oldest."""
        recorded, now = self._waiting[Side.RECORDED], self._waiting[Side.NOW]
        for mine in list(recorded):
            like = next((other for other in now if other.like == mine.like), None)
            if like is not None:
                recorded.remove(mine)
                now.remove(like)
                self._differ(_between(mine, like))
        for row, waiting in self._waiting.items():
            while len(waiting) > _WAITING // 2:
                self._differ(_alone(row, waiting.popleft()))

    def _differ(self, difference: Difference) -> None:
        if difference.rounding:
            self.rounded += 1
        elif difference.harmless:
            self.worded += 1
        else:
            self.different += 1
        if len(self.differences) < _NAMED:
            self.differences.append(difference)


def _between(recorded: _Waiting, now: _Waiting) -> Difference:
    was, is_ = _DECODER.decode(recorded.line), _DECODER.decode(now.line)
    fields = tuple(_fields("", was, is_))
    kind, step, position = recorded.like
    return Difference(recorded.number, recorded.event.t, kind, _where(step, position), None, fields)


def _alone(row: Side, waiting: _Waiting) -> Difference:
    kind, step, position = waiting.like
    return Difference(waiting.number, waiting.event.t, kind, _where(step, position), row)


def _where(step: str, position: str) -> str:
    return f"{step} in “{position}”" if position else step


def _fields(name: str, was: Any, now: Any) -> Iterator[ChangedField]:
    """Yield the innermost fields that differ, named by their path."""
    if isinstance(was, dict) and isinstance(now, dict):
        for key in {**was, **now}:
            yield from _fields(f"{name}.{key}".lstrip("."), was.get(key), now.get(key))
    elif isinstance(was, list) and isinstance(now, list) and len(was) == len(now):
        for index, (one, other) in enumerate(zip(was, now, strict=True)):
            yield from _fields(f"{name}[{index}]", one, other)
    elif was != now:
        yield ChangedField(name, was, now)
