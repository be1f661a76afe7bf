"""What trainees have practised: one file for each, on this computer and nowhere else.

A file is JSON Lines, only ever made longer. Its first line says whose it is; then come practices:
that one was begun, each line typed in it, and what it was worth once it was over. One that was
interrupted has no such end, and can be gone on with: the same lines typed on the same engine lead
to where it was left. A line that cannot be read is counted and named, and the rest is read.
"""

from collections.abc import Iterable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Final, Literal, NamedTuple

import msgspec

from captures.appending import AppendFile
from captures.names import safe_name
from captures.reader import is_regular, open_regular
from meterlink.errors import CannotWriteError, UnreadableError, UsageError
from meterlink.text import plain

LONGEST_NAME: Final = 80
LONGEST_LINE: Final = 1 << 16
"""Bytes; a practice takes some two thousand."""
_ENDING: Final = ".practice.jsonl"

LONGEST_TYPED: Final = 1000
"""Characters of a typed line that are kept."""

Count = Annotated[int, msgspec.Meta(ge=0, le=10**6)]
Mark = Annotated[str, msgspec.Meta(max_length=64)]


class Trainee(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="trainee"):
    """The first line: whose file this is."""

    format: Literal[1] = 1
    name: str


class TopicCount(msgspec.Struct, frozen=True):
    """How often a topic came up in a practice, and how often it was missed."""

    practised: Count
    missed: Count


class Begun(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="begun"):
    """A practice was begun."""

    id: Mark
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

    begun: Mark
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
    begun: Mark = ""
    """The id that it was begun under."""


Record = Begun | Typed | Practised


class Unfinished(NamedTuple):
    """A practice that was interrupted: what was done until then."""

    begun: Begun
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


def default_folder() -> Path:
    """Return where trainees' files lie unless the user says otherwise."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "trainees"


class TraineeStore:
    """The files of all trainees."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = default_folder() if folder is None else folder

    def path(self, name: str) -> Path:
        """Return where the results of ``name`` lie, whether there are any or not.

        Raises:
            UsageError: that is no name.
        """
        name = _checked(name)
        # Names that look alike once they are safe for a file still get files of their own.
        mark = sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
        return self.folder / f"of-{safe_name(name, 'trainee')[:40]}-{mark}{_ENDING}"

    def append(self, name: str, *records: Record) -> Path:
        """Write records behind those before them; return the file.

        Raises:
            UsageError: that is no name.
            CannotWriteError: it cannot be written; what was there before is as it was.
        """
        path = self.path(name)
        new = not is_regular(path)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            lines = b"" if new or _ends_whole(path) else b"\n"
        except OSError as fault:
            raise CannotWriteError(
                f"the results cannot be kept in {plain(str(self.folder))}: {fault.strerror}; "
                "choose another folder with --trainees"
            ) from fault
        if new:
            lines += _line(Trainee(name=plain(_checked(name), LONGEST_NAME)))
        file = AppendFile(path, create=new)
        file.append(lines + b"".join(map(_line, records)))
        file.close()
        return path

    def results(self, name: str) -> Results:
        """Return what ``name`` has practised.

        Raises:
            UsageError: that is no name.
            UnreadableError: there are no results of that name, or the file cannot be read.
        """
        path = self.path(name)
        if not is_regular(path):
            known = ", ".join(results.name for results in self.all()) or "nobody's yet"
            raise UnreadableError(
                f"there are no results of «{plain(name)}» in {plain(str(self.folder))}; "
                f"there are {known}"
            )
        return _read(path)

    def all(self) -> Iterator[Results]:
        """Yield the results of everybody, by the names of their files.

        Raises:
            UnreadableError: the folder exists and cannot be read.
        """
        if not self.folder.is_dir():
            return
        try:
            files = sorted(self.folder.glob(f"*{_ENDING}"))
        except OSError as fault:
            raise UnreadableError(
                f"{plain(str(self.folder))} cannot be read: {fault.strerror}"
            ) from fault
        for file in files:
            if is_regular(file):
                yield _read(file)


def _checked(name: str) -> str:
    name = " ".join(name.split())
    if not name:
        raise UsageError("a trainee needs a name; give one with --trainee")
    if len(name) > LONGEST_NAME:
        raise UsageError(f"a trainee's name has at most {LONGEST_NAME} characters")
    return name


def _line(record: Trainee | Record) -> bytes:
    return msgspec.json.encode(record) + b"\n"


def _ends_whole(path: Path) -> bool:
    """Return whether the file's last line is whole, so that another can follow it."""
    with path.open("rb") as file:
        end = file.seek(0, 2)
        if end == 0:
            return True
        file.seek(end - 1)
        return file.read(1) == b"\n"


_DECODER: Final = msgspec.json.Decoder(Trainee | Record)


def _read(path: Path) -> Results:
    name = ""
    records: list[Record] = []
    damage: list[str] = []
    at = plain(path.name)
    with open_regular(path) as file:
        for number, line in enumerate(iter(lambda: file.readline(LONGEST_LINE), b""), start=1):
            try:
                record = _DECODER.decode(line)
            except (msgspec.DecodeError, UnicodeDecodeError):
                damage.append(f"{at}: line {number} cannot be read and was left out")
                continue
            if isinstance(record, Trainee):
                name = plain(record.name, LONGEST_NAME)
            else:
                records.append(record)
    practised = tuple(record for record in records if isinstance(record, Practised))
    return Results(
        name or at.removesuffix(_ENDING), practised, tuple(_unfinished(records)), tuple(damage)
    )


def _unfinished(records: Iterable[Record]) -> Iterator[Unfinished]:
    begun: dict[str, Begun] = {}
    typed: dict[str, list[Typed]] = {}
    for record in records:
        match record:
            case Begun():
                begun[record.id] = record
            case Typed():
                typed.setdefault(record.begun, []).append(record)
            case Practised():
                begun.pop(record.begun, None)
    for mark, one in begun.items():
        yield Unfinished(one, tuple(typed.get(mark, ())))
