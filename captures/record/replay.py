"""A record through the engine once more: the same readings and commands, in the same order.

A capture begins with all that its bench was made from: card, profile and policy lie whole in the
header's settings, and so does the past of a job that was taken up again, as far as the state of
the bench is folded from it. What came in when it was recorded (readings, commands, what the meter
was set to, gaps) goes into a fresh bench; what comes out is held against what was recorded. No
clock: the pace is the caller's.
"""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple, cast

import msgspec

from captures.record.comparison import Comparison, Side
from captures.record.reader import RecordReader
from captures.record.records import PROGRAM, Header, Unknown, encode
from captures.record.seals import Seal
from captures.record.writer import NOT_WRITTEN, STOPPED
from meterlink.bench.bench import Bench
from meterlink.card import BenchEvent, Card
from meterlink.closing import Closing
from meterlink.declared import from_plain, to_plain
from meterlink.errors import UnreadableError
from meterlink.events import (
    Asked,
    CardBegan,
    CommandReceived,
    Contact,
    Entered,
    Event,
    Gap,
    Lift,
    MeterConfirmed,
    MeterSet,
    Note,
    PassedOver,
)
from meterlink.hold.policy import POLICY, RULE, HoldPolicy
from meterlink.judging.accuracy import Accuracy
from meterlink.meter_state import setting_of
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.reading import Reading

LARGEST_PAST: Final = 1 << 19
"""Bytes of past that a header carries; more would come near the longest line."""

IN_THE_LOG: Final = "in the log"

_PASSED: Final = (Contact, Lift, PassedOver, Asked, CommandReceived, Gap, Note)
"""What changes nothing once it has passed: the state of a bench is folded from the rest."""


class ReplaySetup(NamedTuple):
    """What a bench is made from."""

    card: Card
    profile: Profile
    accuracy: tuple[Accuracy, ...]
    policy: HoldPolicy
    past: tuple[Event, ...]
    lacks: tuple[str, ...] = ()
    """What the record does not say, each a plain sentence: why a replay may differ."""
    confirms: bool = False
    """Whether the meter was asked before a held value counted."""
    rule: int | None = None
    """Version of the rule by which values were held; None: from before versions were written."""

    def bench(self) -> Bench:
        """Return a fresh bench."""
        return Bench(
            self.card,
            self.profile,
            accuracy=self.accuracy,
            policy=self.policy,
            past=self.past,
            confirms=self.confirms,
        )


def settings_of(card: Card, profile: Profile) -> dict[str, Any]:
    """Return card and profile whole, for a job's header: what it is judged by from now on."""
    return {"card": to_plain(card), "profile": to_plain(profile)}


def settings_for(
    card: Card,
    profile: Profile,
    *,
    policy: HoldPolicy = POLICY,
    past: Iterable[Event] = (),
    confirms: bool = False,
) -> dict[str, Any]:
    """Return the settings of a capture's header that say what its bench was made from."""
    settings = settings_of(card, profile) | {
        "policy": msgspec.to_builtins(policy),
        "hold_rule": RULE,
    }
    if confirms:
        settings["confirms"] = True
    folded = [
        _without_names(event)
        for event in past
        if isinstance(event, BenchEvent) and not isinstance(event, _PASSED)
    ]
    if sum(len(encode(event)) for event in folded) > LARGEST_PAST:
        settings["past_left_out"] = len(folded)
    elif folded:
        settings["past"] = [msgspec.to_builtins(event) for event in folded]
    return settings


def _without_names(event: Event) -> Event:
    """Return an event as a later capture needs it: a name stands in the log, where it can be
    struck, and changes nothing on the bench."""
    if isinstance(event, Entered) and event.value is None:
        return msgspec.structs.replace(event, text=IN_THE_LOG)
    return event


def past_of(header: Header, name: str) -> tuple[Event, ...]:
    """Return the events of the job before this capture, as far as its header carries them.

    Raises:
        UnreadableError: they do not make sense; ``name`` stands for the record.
    """
    try:
        past: list[Event] = msgspec.convert(
            header.settings.get("past", []), type=cast("Any", list[BenchEvent]), strict=False
        )
    except msgspec.ValidationError as fault:
        raise UnreadableError(f"{name}: the header's past makes no sense: {fault}") from fault
    return tuple(past)


def read_replay_setup(header: Header, name: str) -> ReplaySetup:
    """Return what the bench of a capture was made from.

    Raises:
        UnreadableError: the header does not say it; ``name`` stands for the record.
        InvalidFileError: what it says of card or profile makes no sense.
    """
    settings = header.settings
    if "card" not in settings or "profile" not in settings:
        raise UnreadableError(
            f"{name} does not say by what card and profile it was recorded, so it cannot be "
            "replayed; “meterlink analyse” reads it"
        )
    where = f"the header of {name}"
    policy, lacks = _policy_of(settings)
    if left_out := settings.get("past_left_out"):
        lacks = (*lacks, f"{left_out} events of the job before it are not in its header")
    return ReplaySetup(
        card=from_plain(settings["card"], Card, where),
        profile=from_plain(settings["profile"], Profile, where),
        accuracy=header.accuracy,
        policy=policy,
        past=past_of(header, name),
        lacks=lacks,
        confirms=bool(settings.get("confirms")),
        rule=_rule_of(settings),
    )


def _rule_of(settings: dict[str, Any]) -> int | None:
    """Return the version of the hold's rule, None where no whole number above 0 is said."""
    said = settings.get("hold_rule")
    return said if type(said) is int and said > 0 else None


def _policy_of(settings: dict[str, Any]) -> tuple[HoldPolicy, tuple[str, ...]]:
    """Return the policy as recorded, as far as this program's policy has such numbers."""
    said = settings.get("policy")
    if not isinstance(said, dict):
        return POLICY, ("it does not say by what policy its values were held",)
    try:
        policy = msgspec.convert(said, HoldPolicy, strict=False)
    except msgspec.ValidationError as fault:
        return POLICY, (f"its policy does not fit this program: {fault}",)
    known = {field.name for field in msgspec.structs.fields(HoldPolicy)}
    unlike = sorted(known ^ set(said))
    if not unlike:
        return policy, ()
    return policy, (f"its policy and this program's differ in: {', '.join(unlike)}",)


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
        if (rule := self.beginning.rule) != RULE:
            made = "a rule of before rules were numbered" if rule is None else f"rule {rule}"
            reasons.append(f"its holds were made under {made}; this program follows rule {RULE}")
        reasons += self.replay.missing
        if self.reader.damaged:
            reasons.append(f"{self.reader.damaged} of its lines cannot be read")
        if self.unknown:
            reasons.append(f"{self.unknown} of its records are of kinds that this program lacks")
        if not self.closed:
            reasons.append(NEVER_CLOSED)
        return reasons
