"""What trainees have practised, one file for each, on this computer and nowhere else.

A file is JSON Lines, only ever made longer. Its first line says whose it is; then come the records
as they happen: what was begun, typed, and its worth. A line that cannot be read is counted and
named, and the rest is read. One program at a time writes a file, for as long as somebody practises:
so no two of them can mix the lines of one practice. A practice that was interrupted has no worth
yet, and can be gone on with: the same lines typed on the same engine lead to where it was left.
"""

from collections.abc import Iterable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Final, Literal, NamedTuple

import msgspec

from captures.record.append_file import AppendFile
from captures.record.files import ends_whole, is_regular, open_regular, safe_name
from meterlink.closing import Closing
from meterlink.errors import CannotWriteError, InUseError, UnreadableError, UsageError
from meterlink.quantities.text import plain

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


LONGEST_NAME: Final = 80
LONGEST_LINE: Final = 1 << 16
"""Bytes; a practice takes some two thousand."""
_ENDING: Final = ".practice.jsonl"


def default_folder() -> Path:
    """Return where trainees' files lie unless the user says otherwise."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "trainees"


class TraineeFile(Closing):
    """The file of one trainee, this program's own until it is closed. Use it in ``with``."""

    def __init__(self, path: Path, name: str) -> None:
        """Take up the file ``path`` of the trainee ``name``; it is made if need be.

        Raises:
            InUseError: another program writes it: somebody practises under this name.
            CannotWriteError: it cannot be written.
        """
        self.path = path
        try:
            self._file = AppendFile(path, create=not is_regular(path))
        except InUseError as fault:
            raise InUseError(
                f"“{plain(name)}” is practising in another terminal at this moment; end that "
                "practice first, or practise under another name"
            ) from fault
        if not path.stat().st_size:
            self._file.append(_line(Trainee(name=plain(name, LONGEST_NAME))))
        elif not ends_whole(path):
            self._file.append(b"\n")

    @property
    def trouble(self) -> str:
        """One sentence while nothing can be written and what comes waits; else empty."""
        return self._file.trouble

    def append(self, *records: TraineeRecord) -> None:
        """Write records behind those before them; what cannot be written now waits."""
        self._file.append(b"".join(map(_line, records)))

    def close(self) -> None:
        """Write what waits, and let others write. Safe to call twice.

        Raises:
            CannotWriteError: something could still not be written, and is lost.
        """
        self._file.close()


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

    def open(self, name: str, *, known: bool = False) -> TraineeFile:
        """Return the file of ``name``, to be written while somebody practises under this name.

        ``known``: only where there are results of that name already.

        Raises:
            UsageError: that is no name.
            UnreadableError: there are no results of that name, though it has to be known.
            InUseError: somebody practises under this name already.
            CannotWriteError: it cannot be written; what was there before is as it was.
        """
        path = self.path(name)
        if known and not is_regular(path):
            raise self._unknown(name)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise CannotWriteError(
                f"the results cannot be kept in {plain(str(self.folder))}: {fault.strerror}; "
                "choose another folder with --trainees"
            ) from fault
        return TraineeFile(path, _checked(name))

    def results(self, name: str) -> Results:
        """Return what ``name`` has practised.

        Raises:
            UsageError: that is no name.
            UnreadableError: there are no results of that name, or the file cannot be read.
        """
        path = self.path(name)
        if not is_regular(path):
            raise self._unknown(name)
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

    def _unknown(self, name: str) -> UnreadableError:
        known = ", ".join(results.name for results in self.all()) or "nobody's yet"
        return UnreadableError(
            f"there are no results of “{plain(name)}” in {plain(str(self.folder))}; "
            f"there are {known}"
        )


def _checked(name: str) -> str:
    name = " ".join(name.split())
    if not name:
        raise UsageError("a trainee needs a name; give one with --trainee")
    if len(name) > LONGEST_NAME:
        raise UsageError(f"a trainee's name has at most {LONGEST_NAME} characters")
    return name


def _line(record: Trainee | TraineeRecord) -> bytes:
    return msgspec.json.encode(record) + b"\n"


_DECODER: Final = msgspec.json.Decoder(Trainee | TraineeRecord)


def _read(path: Path) -> Results:
    name = ""
    records: list[TraineeRecord] = []
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
        name or at.removesuffix(_ENDING), practised, tuple(unfinished_in(records)), tuple(damage)
    )
