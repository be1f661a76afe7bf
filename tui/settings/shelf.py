"""Where profiles and cards are found: a path, the user's own folder, or those that ship.

The user's own come before shipped ones of the same name.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Generic, NamedTuple, TypeVar

from meterlink.card import Card, read_card
from meterlink.declared import LARGEST_FILE, InvalidFileError
from meterlink.errors import MeterlinkError, UnreadableError, UsageError
from meterlink.profile import Profile, read_profile
from meterlink.quantities.text import plain

Thing = TypeVar("Thing", bound=Profile | Card)


def config_folder() -> Path:
    """Return the folder of the user's own profiles, cards, frame formats and settings."""
    import platformdirs

    return platformdirs.user_config_path("meterlink", appauthor=False)


class ShelfFile(NamedTuple):
    """A file on a shelf, not yet read."""

    name: str
    """What ``--profile`` or ``--card`` takes."""
    shipped: bool
    file: Traversable


class Shelf(Generic[Thing]):
    """All the files of one kind."""

    def __init__(self, kind: str, folder: str, read: Callable[[bytes, str], Thing]) -> None:
        self._kind = kind
        self._folder = folder
        self._read = read

    def all(self) -> Iterator[ShelfFile]:
        """Yield what there is by name, the user's own first."""
        seen: set[str] = set()
        shipped = resources.files("meterlink") / "data" / self._folder
        for folder, is_shipped in ((config_folder() / self._folder, False), (shipped, True)):
            if not folder.is_dir():
                continue
            for file in sorted(folder.iterdir(), key=lambda file: file.name):
                name = file.name.removesuffix(".toml")
                if name != file.name and name not in seen:
                    seen.add(name)
                    yield ShelfFile(name, is_shipped, file)

    def data(self, name: str) -> bytes:
        """Return the file of the one called ``name``; errors as for ``get``."""
        for found in self.all():
            if found.name == name:
                return _bytes_of(found.file)
        there = ", ".join(found.name for found in self.all())
        raise UsageError(
            f"there is no {self._kind} «{plain(name)}»; give a path, or one of: {there}"
        )

    def get(self, name: str) -> Thing:
        """Return the one called ``name``, or in the file of that path.

        Raises:
            UsageError: there is none of that name.
            UnreadableError: the file cannot be read.
            InvalidFileError: it does not say what it must.
        """
        path = Path(name)
        if path.suffix == ".toml" or len(path.parts) > 1:
            return self.read(path)
        return self._read(self.data(name), f"{name}.toml")

    def read(self, file: Traversable) -> Thing:
        """Return what is in ``file``; errors as for ``get``."""
        return self._read(_bytes_of(file), str(file))


def _bytes_of(file: Traversable) -> bytes:
    try:
        with file.open("rb") as opened:
            return opened.read(LARGEST_FILE + 1)
    except OSError as fault:
        raise UnreadableError(
            f"{plain(str(file))} cannot be read: {fault.strerror or fault}"
        ) from fault


def _read_card(data: bytes, name: str) -> Card:
    from meterlink.finding.cards import unsafe  # heavy, and settings need none of it

    card = read_card(data, name, lambda other: CARDS.data(other))
    for danger in unsafe(card):
        raise InvalidFileError(f"{plain(name, 400)}: {danger}")
    return card


PROFILES = Shelf("profile", "profiles", read_profile)
CARDS = Shelf("card", "cards", _read_card)


def only_profile() -> str:
    """Return the name of the user's own profile, where there is exactly one.

    Raises:
        UsageError: there is none, or more than one.
    """
    own = [found.name for found in PROFILES.all() if not found.shipped]
    if len(own) == 1:
        return own[0]
    raise UsageError("say which coil profile with --profile; «meterlink profiles» lists them")


def print_all(
    shelf: Shelf[Thing], keys: tuple[str, str], title_of: Callable[[Thing], str], *, as_json: bool
) -> None:
    """Print every file on ``shelf``; ``keys`` name the file and its title in JSON."""
    for found in shelf.all():
        try:
            title = title_of(shelf.read(found.file))
        except MeterlinkError as fault:
            title = f"cannot be used: {fault}"
        if as_json:
            print(json.dumps({keys[0]: found.name, keys[1]: title, "shipped": found.shipped}))
        else:
            print(f"{plain(found.name):<24}{plain(title, 400)}")


def report_skipped(faults: Sequence[MeterlinkError]) -> None:
    """End what was shown with the first of ``faults``, and how many more there are.

    Raises:
        MeterlinkError: the first, with its own exit code; where there is none, nothing is raised.
    """
    if not faults:
        return
    first, *more = faults
    others = f" (and {len(more)} more)" if more else ""
    raise type(first)(f"{first}{others}; everything else is shown") from first
