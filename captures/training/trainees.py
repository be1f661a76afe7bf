"""What trainees have practised, as records: whose they are, what was begun, typed, and its worth.

A practice that was interrupted has no worth yet, and can be gone on with: the same lines typed on
the same engine lead to where it was left. The files are those of ``trainee_files``.
"""

from collections.abc import Iterable, Iterator
from typing import Annotated, Final, Literal, NamedTuple

import msgspec

LONGEST_TYPED: Final = 1000
"""Characters of a typed line that are kept."""

Count = Annotated[int, msgspec.Meta(ge=0, le=10**6)]
PracticeMark = Annotated[str, msgspec.Meta(max_length=64)]


class Trainee(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="trainee"):
    """The first line: whose file this is."""

    format: Literal[1] = 1
    name: str


class TopicCount(msgspec.Struct, frozen=True):
    """How often a topic came up in a practice, and how often it was missed."""

    practised: Count
    missed: Count


class PracticeBegun(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="begun"):
    """A practice was begun."""

    id: PracticeMark
    when: str
    """RFC 3339 with offset."""
    program: str
    order: dict[str, int | str]
    complaint: str
    story: str = ""
    """That an exercise told."""
    engine: str
    """Mark of the engine, to know whether the order still gives the same one."""


class Typed(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="typed"):
    """A line was typed, and done."""

    begun: PracticeMark
    """The practice's id."""
    line: Annotated[str, msgspec.Meta(max_length=LONGEST_TYPED)]
    minutes: float
    """In the workshop so far."""
    checks: Count
    """Begun so far."""
    seconds: float
    """At the keyboard so far."""


class Practised(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="practice"):
    """One practice."""

    when: str
    """RFC 3339 with offset."""
    program: str
    order: dict[str, int | str]
    """Seed, difficulty, fault and complaint that were ordered: with them, it can be had again."""
    complaint: str
    fault: str
    """That the engine had."""
    place: str
    found: bool
    points: float
    of: float
    minutes: float
    parts: float
    checks: Count
    advised: Count
    seconds: float
    """That the trainee took at the keyboard."""
    topics: dict[str, TopicCount] = {}
    say: tuple[str, ...] = ()
    """The score in sentences."""
    begun: PracticeMark = ""
    """The id that it was begun under."""


TraineeRecord = PracticeBegun | Typed | Practised


class Unfinished(NamedTuple):
    """A practice that was interrupted: what was done until then."""

    begun: PracticeBegun
    typed: tuple[Typed, ...]
    """Oldest first."""


class Results(NamedTuple):
    """All that a trainee's file says."""

    name: str
    practised: tuple[Practised, ...]
    """Oldest first."""
    unfinished: tuple[Unfinished, ...]
    """Oldest first."""
    damage: tuple[str, ...]
    """A sentence for each line that cannot be read."""

    def topics(self) -> dict[str, TopicCount]:
        """Return every topic with its sums, by its word."""
        sums: dict[str, list[int]] = {}
        for practice in self.practised:
            for topic, count in practice.topics.items():
                total = sums.setdefault(topic, [0, 0])
                total[0] += count.practised
                total[1] += count.missed
        return {topic: TopicCount(*total) for topic, total in sums.items()}


def unfinished_in(records: Iterable[TraineeRecord]) -> Iterator[Unfinished]:
    """Yield the practices among ``records`` that were begun and have no worth, oldest first."""
    begun: dict[str, PracticeBegun] = {}
    typed: dict[str, list[Typed]] = {}
    for record in records:
        match record:
            case PracticeBegun():
                begun[record.id] = record
            case Typed():
                typed.setdefault(record.begun, []).append(record)
            case Practised():
                begun.pop(record.begun, None)
    for mark, one in begun.items():
        yield Unfinished(one, tuple(typed.get(mark, ())))
