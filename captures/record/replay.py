"""A record through the engine once more: the same readings and commands, in the same order.

What came in when it was recorded (readings, commands, what the meter was set to, gaps) goes into
a fresh bench; what comes out is held against what was recorded. No clock: the pace is the
caller's.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple

from captures.record.comparison import Comparison, Side
from captures.record.reader import RecordReader
from captures.record.records import Header, Seal, Unknown
from captures.record.replay_setup import ReplaySetup, read_replay_setup
from captures.record.writer import NOT_WRITTEN, PROGRAM, STOPPED
from meterlink.bench.bench import Bench
from meterlink.card import BenchEvent
from meterlink.closing import Closing
from meterlink.events import (
    CardBegan,
    CommandReceived,
    Contact,
    Event,
    Gap,
    MeterConfirmed,
    MeterSet,
    Note,
    PassedOver,
)
from meterlink.quantities.text import plain
from meterlink.reading import Reading
from meterlink.steps.worker import setting_of

_WRITERS_OWN: Final = (NOT_WRITTEN, STOPPED)
"""Why of gaps that the writer of the record put in: the bench never heard of them."""


NEVER_CLOSED: Final = "it was never closed, so its end may be missing"
"""Among the reasons of a replay."""


class Moment(NamedTuple):
    """One step of a replay: what came in, and what the engine makes of it."""

    record: Reading | Event | None
    """None at the end, where the engine says what it still had to."""
    events: Sequence[BenchEvent]


class Replay:
    """One record at work on a fresh bench."""

    def __init__(self, header: Header, beginning: ReplaySetup) -> None:
        self.header = header
        self.bench: Bench = beginning.bench()
        self.comparison = Comparison()
        self.touches = 0
        """How many touches have begun."""
        self.readings = 0
        self.t = 0.0
        """Time of the newest record, seconds."""
        self.missing: list[str] = []
        """Stretches in which readings were lost before they were written."""

    def feed(self, record: Reading | Event) -> Sequence[BenchEvent]:
        """Take the next record; return what the engine makes of it, nearly always nothing."""
        self.t = max(self.t, record.t)
        if isinstance(record, Reading):
            self.readings += 1
            return self._took(self._flushed(), self.bench.feed(record))
        if isinstance(record, Gap) and record.why in _WRITERS_OWN:
            self._lost(record)
            return ()
        if not isinstance(record, BenchEvent) or isinstance(record, Note):
            return ()
        self.comparison.take(Side.RECORDED, record)
        match record:
            case CardBegan():
                return self._took(self.bench.begin(record.t))
            case CommandReceived():
                flushed = self._flushed()
                return self._took(flushed, self.bench.tell(record.command, record.t))
            case MeterSet():
                return self._took(self.bench.set_meter(setting_of(record), record.t))
            case MeterConfirmed():
                return self._took(self.bench.confirm(record.t, record.failed))
            case Gap():
                return self._took(self.bench.gap(record))
            case _:
                return ()

    def close(self, *, cut: bool = False) -> Sequence[BenchEvent]:
        """End the record; ``cut``: it ended before the bench could say all it had to."""
        events = self._took(self.bench.close())
        self.comparison.finish(cut=cut)
        return events

    def _took(self, *groups: Sequence[BenchEvent]) -> Sequence[BenchEvent]:
        if not any(groups):
            return ()
        events = [event for group in groups for event in group]
        for event in events:
            self.comparison.take(Side.NOW, event)
            if isinstance(event, Contact):
                self.touches += 1
        return events

    def _flushed(self) -> Sequence[BenchEvent]:
        """Close the stream where it was closed: a sitting that went on after its end.

        Nothing else makes the bench tell of passed-over readings between two inputs.
        """
        awaited = next(self.comparison.awaited(), None)
        return self.bench.close() if isinstance(awaited, PassedOver) else ()

    def _lost(self, gap: Gap) -> None:
        until = "" if gap.until is None else f" to {gap.until:.1f} s"
        if len(self.missing) < _LOSSES_NAMED:
            self.missing.append(f"readings from {gap.t:.1f} s{until} are missing: {gap.why}")


_LOSSES_NAMED: Final = 20


class Played(Closing):
    """A record on disk, opened to be replayed. Use it in ``with``, or close it."""

    def __init__(self, path: Path) -> None:
        """Open ``path``.

        Raises:
            UnreadableError: missing, no capture, from a newer program, or it does not say what
                its bench was made from.
            InvalidFileError: what it says of card or profile makes no sense.
        """
        self.path = path
        self.reader = RecordReader(path)
        try:
            self.beginning = read_replay_setup(self.reader.header, self.reader.name)
        except BaseException:
            self.reader.close()
            raise
        self.replay = Replay(self.reader.header, self.beginning)
        self.closed = False
        """Whether the record has its final seal; known at the end."""
        self.unknown = 0
        """Records of kinds that a newer program wrote."""

    @property
    def header(self) -> Header:
        """The record's header."""
        return self.reader.header

    def close(self) -> None:
        """Let go of the file. Safe to call twice."""
        self.reader.close()

    def records(self) -> Iterator[Reading | Event]:
        """Yield what the record holds, oldest first; feed each to ``replay`` when it is due."""
        for _, record in self.reader.records():
            self.closed = isinstance(record, Seal) and record.final
            if isinstance(record, Unknown):
                self.unknown += 1
            elif not isinstance(record, Seal | Header):
                yield record

    def moments(self) -> Iterator[Moment]:
        """Replay as fast as can be; yield every moment at which something happened."""
        for record in self.records():
            events = self.replay.feed(record)
            if events:
                yield Moment(record, events)
        yield Moment(None, self.finish())

    def finish(self) -> Sequence[BenchEvent]:
        """End the replay at the record's end; return what the engine says last."""
        return self.replay.close(cut=not self.closed)

    @property
    def same_program(self) -> bool:
        """Whether this very version of the program wrote the record."""
        return self.header.program == PROGRAM

    def reasons(self) -> list[str]:
        """Return why a replay may differ from what was recorded; known at the end."""
        reasons = list(self.beginning.lacks)
        if not self.same_program:
            wrote = plain(self.header.program, 60) or "an unnamed program"
            reasons.append(f"it was written by {wrote}; this is {PROGRAM}")
        reasons += self.replay.missing
        if self.reader.damaged:
            reasons.append(f"{self.reader.damaged} of its lines cannot be read")
        if self.unknown:
            reasons.append(f"{self.unknown} of its records are of kinds that this program lacks")
        if not self.closed:
            reasons.append(NEVER_CLOSED)
        return reasons
