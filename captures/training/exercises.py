"""Exercises to hand over: a folder of them as one file, safe to open from a stranger.

Whatever is in such a file: nothing is taken out but a catalogue, captures and notes, under names
that they could have here, and nothing stays unless all of them can be read.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from captures.exchange.zip_files import Manifest, PackKind, pack_files, unpack_files
from captures.job.names import safe_name
from captures.record.reader import is_regular
from captures.record.replay import Played
from captures.training.catalogue import CATALOGUE, Shelved, read_catalogue
from captures.training.notes import read_notes
from meterlink.errors import FaultFoundError, UnreadableError
from meterlink.quantities.text import plain

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
