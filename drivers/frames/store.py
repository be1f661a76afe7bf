"""Where wire descriptions come from: those that ship, the user's folder, or a file."""

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


def user_folder() -> Path:
    """Return the folder of the user's own descriptions; it need not exist."""
    return platformdirs.user_config_path("meterlink", appauthor=False) / "wires"


def names(folder: Path | None = None) -> dict[str, Path]:
    """Return every wire's name and file: those that ship, and the user's own.

    The user's own description takes the place of one that ships under the same name.

    Args:
        folder: the user's descriptions; default ``user_folder()``.
    """
    folder = user_folder() if folder is None else folder
    found = {file.stem: file for file in sorted(SHIPPED.glob("*.toml"))}
    if folder.is_dir():
        found |= {file.stem: file for file in sorted(folder.glob("*.toml"))}
    return found


def load(name: str | Path, folder: Path | None = None) -> FrameFormat:
    """Return a wire by its name, or from a file where ``name`` is a path to one.

    Raises:
        UsageError: no wire is called so.
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
    # Somebody's file that is not called after its wire.
    for wire in load_all(folder)[0]:
        if wire.name == name:
            return wire
    raise UsageError(
        f"there is no wire called {plain(str(name))}; «meterlink wires list» shows them"
    )


def load_all(folder: Path | None = None) -> tuple[list[FrameFormat], list[MeterlinkError]]:
    """Return every wire, and what is wrong with those of the user's that cannot be used."""
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
    """Return the wire that the file ``path`` describes; errors as ``load``."""
    shown = plain(str(path))
    try:
        if path.is_dir():
            raise UnreadableError(f"{shown} is a directory, not a wire description")
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
