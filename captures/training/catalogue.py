"""Exercises: recorded captures to learn from, each with what it teaches and what must come of it.

A folder of exercises holds ``catalogue.toml``, for each exercise its capture ``ID.jsonl``, and
an instructor's notes ``ID.notes.toml`` where there are any. One such folder ships with the
program; instructors' own lie in the user's data folder.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Final, Literal, NamedTuple

import msgspec

from captures.exchange.packs import Manifest, PackKind, pack_files, unpack_files
from captures.record.files import is_regular, open_regular, safe_name
from captures.record.replay import Played
from captures.record.verify import State, verify
from captures.training.notes import ENDING, read_notes
from meterlink.bench.progress import Progress
from meterlink.declared import LARGEST_FILE, decode
from meterlink.errors import FaultFoundError, InvalidFileError, MeterlinkError, UnreadableError
from meterlink.quantities.text import plain

CATALOGUE: Final = "catalogue.toml"
SHIPPED: Final = Path(__file__).parents[1] / "library"

Id = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,60}$")]
Words = Annotated[str, msgspec.Meta(min_length=1, max_length=2000)]


class Made(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How the simulated bench made a capture: the same again makes the same file."""

    scenario: Id
    seed: int
    nplc: Annotated[float, msgspec.Meta(gt=0, le=100)] = 1.0
    """Power-line cycles a reading takes."""


class Exercise(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One recorded capture and what there is to learn from it."""

    id: Id
    title: Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
    goal: Annotated[str, msgspec.Meta(min_length=1, max_length=400)]
    """What the trainee can do afterwards."""
    difficulty: Literal["easy", "medium", "hard"]
    explanation: Words
    """What is to be seen, and why it is so. For afterwards: it gives the verdict away."""
    expect: Annotated[dict[str, str | tuple[str, ...]], msgspec.Meta(min_length=1)]
    """The outcome that the engine must come to, by step; of several any, where a verdict too
    close to call may fall on either side."""
    close: tuple[str, ...] = ()
    """Steps with a verdict that must not be clear; those of all others in ``expect`` must be."""
    fault: str = ""
    """The fault's name in the fault table; empty where nothing is wrong with the engine."""
    made: Made | None = None
    """None for captures of real engines."""


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    format: Literal[1]
    title: Annotated[str, msgspec.Meta(max_length=80)] = ""
    exercise: Annotated[tuple[Exercise, ...], msgspec.Meta(min_length=1, max_length=500)]


class Shelved(NamedTuple):
    """An exercise in its folder."""

    exercise: Exercise
    folder: Path

    @property
    def capture(self) -> Path:
        """Its recorded capture."""
        return self.folder / f"{self.exercise.id}.jsonl"

    @property
    def notes(self) -> Path:
        """Where an instructor's notes lie, whether there are any or not."""
        return self.folder / f"{self.exercise.id}{ENDING}"


def own_folder() -> Path:
    """Return the folder in which an instructor's own folders of exercises lie."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "exercises"


def read_catalogue(folder: Path) -> list[Shelved]:
    """Return the exercises of a folder in the order of its catalogue.

    Raises:
        UnreadableError: there is no catalogue, or it cannot be read.
        InvalidFileError: it does not say what it must; file and key are named.
    """
    with open_regular(folder / CATALOGUE) as file:
        return parse_catalogue(file.read(LARGEST_FILE + 1), folder)


def parse_catalogue(data: bytes, folder: Path) -> list[Shelved]:
    """Return the exercises in ``data``, a TOML text that lies in ``folder``; errors as above."""
    name = plain(str(folder / CATALOGUE))
    exercises = decode(data, _File, name).exercise
    seen: set[str] = set()
    for index, exercise in enumerate(exercises):
        if exercise.id in seen:
            raise InvalidFileError(
                f"{name}: exercise[{index}].id: “{exercise.id}” is there twice; give each its own"
            )
        seen.add(exercise.id)
        for step in exercise.close:
            if step not in exercise.expect:
                raise InvalidFileError(
                    f"{name}: exercise[{index}].close: “{plain(step)}” has no outcome in expect"
                )
    return [Shelved(exercise, folder) for exercise in exercises]


class Library(NamedTuple):
    """Every exercise there is, the user's own first; of one that is there twice only that."""

    shelf: tuple[Shelved, ...]
    faults: tuple[MeterlinkError, ...]
    """Why catalogues cannot be used; their exercises are not on the shelf."""

    def find(self, name: str) -> Shelved | None:
        """Return the exercise of this id; None where there is none that can be used."""
        return next((shelved for shelved in self.shelf if shelved.exercise.id == name), None)

    def get(self, name: str) -> Shelved:
        """Return the exercise of this id.

        Raises:
            UnreadableError: there is none that can be used.
        """
        found = self.find(name)
        if found is None:
            raise UnreadableError(
                f"there is no exercise {plain(name)!r}; “meterlink library” lists those that are"
            )
        return found


def read_library() -> Library:
    """Return what all catalogues list; one that cannot be used takes no other with it."""
    shelf: dict[str, Shelved] = {}
    faults: list[MeterlinkError] = []
    own = own_folder()
    try:
        folders = sorted(path for path in own.iterdir() if is_regular(path / CATALOGUE))
    except FileNotFoundError:
        folders = []
    except OSError as fault:
        folders = []
        faults.append(UnreadableError(f"{plain(str(own))} cannot be read: {fault.strerror}"))
    for folder in (*folders, SHIPPED):
        try:
            for shelved in read_catalogue(folder):
                shelf.setdefault(shelved.exercise.id, shelved)
        except MeterlinkError as fault:
            faults.append(fault)
    return Library(tuple(shelf.values()), tuple(faults))


def faults_of(shelved: Shelved) -> Iterator[str]:
    """Check one exercise; yield a sentence for everything that is not as it should be.

    Its seal must be whole, the engine must come to the events that were recorded and to the
    outcomes that are stated, and every note must find its moment.
    """
    name = shelved.exercise.id
    try:
        check = verify(shelved.capture)
        if check.state is not State.WHOLE:
            yield check.sentence
        notes = read_notes(shelved.capture)
        with Played(shelved.capture) as played:
            for moment in played.moments():
                notes.now(played.replay.t, moment.events)
            notes.now(played.replay.t)
    except MeterlinkError as fault:
        yield f"{name}: {fault}"
        return
    comparison = played.replay.comparison
    if comparison.different or comparison.worded:
        first = comparison.differences[0].sentence
        changed = comparison.different + comparison.worded
        yield f"{name}: {changed} events are not as recorded; {first}"
    yield from _unlike(shelved.exercise, played.replay.bench.progress)
    yield from notes.astray(played.beginning.card, played.replay.t)


def _unlike(exercise: Exercise, progress: Progress) -> Iterator[str]:
    """Yield what came out in another way than the exercise states."""
    for step, expected in exercise.expect.items():
        result = progress.results.get(step)
        if result is None:
            yield f"{exercise.id}: the card has no step “{plain(step)}”"
            continue
        outcomes = (expected,) if isinstance(expected, str) else expected
        if result.outcome not in outcomes:
            yield (
                f"{exercise.id}: {step} should come to “{' or '.join(outcomes)}” and comes to "
                f"“{result.outcome or 'nothing'}”"
            )
        clear = all(judged.clear for judged in result.judged.values())
        if clear and step in exercise.close:
            yield f"{exercise.id}: {step} should be too close to call, and is clear"
        if not clear and step not in exercise.close:
            yield f"{exercise.id}: {step} should be clear, and is close"


LARGEST: Final = 256 << 20
"""Bytes that exercises may take up when unpacked: some hours of a fast meter."""

PACK_ENDING: Final = ".exercises.zip"

EXERCISE_PACK: Final = PackKind(
    format="meterlink-exercise-pack",
    # Ids of exercises are small letters, digits and hyphens; what Windows calls a device is not.
    allowed=re.compile(
        rf"{re.escape(CATALOGUE)}"
        r"|(?!(?:con|prn|aux|nul|com\d|lpt\d)\.)[a-z0-9][a-z0-9-]{0,60}\.(?:jsonl|notes\.toml)"
    ),
    needs=CATALOGUE,
    thing="folder of exercises",
)


def pack_exercises(folder: Path, target: Path) -> Manifest:
    """Write a folder's catalogue, captures and notes into the new file ``target``.

    Raises:
        UnreadableError: a file of them is missing or cannot be read.
        FaultFoundError: catalogue, a capture or its notes do not say what they must.
        CannotWriteError: ``target`` exists, or cannot be written.
    """
    shelf = list(_readable(folder))
    return pack_files(EXERCISE_PACK, folder.resolve().name, _files_of(folder, shelf), target)


def unpack_exercises(pack_file: Path, root: Path, *, largest: int = LARGEST) -> Path:
    """Take the exercises in ``pack_file`` into a folder of their own in ``root``; return it.

    Raises:
        UnreadableError: it is no pack of exercises, is damaged, or holds what none of ours holds.
        FaultFoundError: a file is not the one that was packed, or does not say what it must.
        CannotWriteError: it cannot be written; nothing of it is left.
    """

    def adopt(filled: Path, name: str) -> Path:
        try:
            list(_readable(filled))
        except (UnreadableError, FaultFoundError) as fault:
            # The folder that it was filled into is gone when this is read; the pack is not.
            said = str(fault).replace(f"{plain(str(filled))}/", "").replace(f"{filled.name}/", "")
            raise type(fault)(f"{plain(str(pack_file))}: {said}") from fault
        # With a word before it, no name is a device's.
        return filled.rename(_free(root, f"from-{safe_name(name, 'elsewhere')}"))

    return unpack_files(EXERCISE_PACK, pack_file, root, adopt, largest=largest)


def _readable(folder: Path) -> Iterator[Shelved]:
    """Yield the folder's exercises, each once its capture and notes have been opened."""
    for shelved in read_catalogue(folder):
        Played(shelved.capture).close()
        read_notes(shelved.capture)
        yield shelved


def _files_of(folder: Path, shelf: list[Shelved]) -> Iterator[tuple[Path, str]]:
    yield folder / CATALOGUE, CATALOGUE
    for shelved in shelf:
        yield shelved.capture, shelved.capture.name
        if is_regular(shelved.notes):
            yield shelved.notes, shelved.notes.name


def _free(root: Path, name: str) -> Path:
    for number in range(1, 10_000):
        path = root / (name if number == 1 else f"{name}-{number}")
        if not path.exists():
            return path
    raise UnreadableError(f"{plain(name)} is there ten thousand times; take some away")
