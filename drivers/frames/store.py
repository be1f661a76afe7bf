"""Where descriptions of frame formats come from: those that ship, the user's folder, or a file."""

from pathlib import Path
from typing import Final

import platformdirs

from drivers.frames.description import Description
from drivers.frames.frame_format import FrameFormat
from meterlink import declared
from meterlink.declared import InvalidFileError
from meterlink.errors import MeterlinkError, UnreadableError, UsageError
from meterlink.quantities.text import plain

SHIPPED: Final = Path(__file__).parent / "descriptions"
ASKED: Final = ".scpi.toml"
"""What the names of descriptions end with that are of instruments that are asked."""


def user_folder() -> Path:
    """Return the folder of the user's own descriptions; it need not exist."""
    return platformdirs.user_config_path("meterlink", appauthor=False) / "frames"


def names(folder: Path | None = None) -> dict[str, Path]:
    """Return every frame format's name and file: those that ship, and the user's own.

    The user's own description takes the place of one that ships under the same name. A folder
    ``wires`` beside the user's folder, as it was once called, is read too.

    Args:
        folder: the user's descriptions; default ``user_folder()``.
    """
    folder = user_folder() if folder is None else folder
    found = {file.stem: file for file in sorted(SHIPPED.glob("*.toml"))}
    for own in (folder.with_name("wires"), folder):
        if own.is_dir():
            files = sorted(own.glob("*.toml"))
            found |= {file.stem: file for file in files if not file.name.endswith(ASKED)}
    return found


def load(name: str | Path, folder: Path | None = None) -> FrameFormat:
    """Return a frame format by its name, or from a file where ``name`` is a path to one.

    Raises:
        UsageError: no frame format is called so.
        UnreadableError: the file cannot be read.
        InvalidFileError: what it says is impossible; names the key.
    """
    known = names(folder)
    if isinstance(name, str) and name in known:
        wire = read(known[name])
        if wire.name == name:
            return wire
    path = Path(name)
    if path.suffix == ".toml" or path.exists():
        return read(path)
    # Somebody's file that is not called after its format.
    for wire in load_all(folder)[0]:
        if wire.name == name:
            return wire
    raise UsageError(
        f"there is no frame format called {plain(str(name))}; «meterlink frames list» shows them"
    )


def load_all(folder: Path | None = None) -> tuple[list[FrameFormat], list[MeterlinkError]]:
    """Return every frame format, and what is wrong with those of the user's that cannot be used."""
    wires: dict[str, FrameFormat] = {}
    faults: list[MeterlinkError] = []
    for path in names(folder).values():
        try:
            wire = read(path)
        except (InvalidFileError, UnreadableError) as fault:
            faults.append(fault)
        else:
            if wire.own or wire.name not in wires:
                wires[wire.name] = wire
    return list(wires.values()), faults


def read(path: Path) -> FrameFormat:
    """Return the frame format that the file ``path`` describes; errors as ``load``."""
    shown = plain(str(path))
    try:
        if path.is_dir():
            raise UnreadableError(f"{shown} is a directory, not a description of frames")
        with path.open("rb") as file:
            data = file.read(declared.LARGEST_FILE + 1)
    except FileNotFoundError as fault:
        raise UnreadableError(f"there is no file {shown}") from fault
    except OSError as fault:
        raise UnreadableError(f"{shown} cannot be read: {fault.strerror}") from fault
    description = declared.decode(data, Description, path.name, as_is=True)
    try:
        return FrameFormat(description, own=path.parent != SHIPPED)
    except InvalidFileError as fault:
        raise InvalidFileError(f"{plain(path.name)}: {fault}") from fault
