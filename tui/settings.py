"""What the user keeps: settings, profiles and cards."""

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Final, Generic, NamedTuple, TypeVar

import msgspec
from msgspec import structs

from meterlink.card import Card, read_card
from meterlink.declared import LARGEST_FILE, decode, to_plain
from meterlink.errors import (
    CannotWriteError,
    InvalidFileError,
    MeterlinkError,
    UnreadableError,
    UsageError,
)
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assumed import NOTHING_SAID, Assumed
from meterlink.judging.criterion import Rule
from meterlink.judging.passport import Passport
from meterlink.profile import Profile, read_profile
from meterlink.quantities.text import plain
from meterlink.source import Identity

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
            f"there is no {self._kind} “{plain(name)}”; give a path, or one of: {there}"
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
    from meterlink.finding.cards import unsafe

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
    raise UsageError("say which coil profile with --profile; “meterlink profiles” lists them")


def write_whole(file: Path, data: bytes) -> None:
    """Write ``data`` to ``file``, in a folder that is made if need be, in place of what was there.

    Raises:
        CannotWriteError: it cannot be written; what was there is left as it was.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
        try:
            with os.fdopen(handle, "wb") as opened:
                opened.write(data)
            Path(name).replace(file)
        except OSError:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(file), 400)} cannot be written: {fault.strerror or fault}"
        ) from fault


class ScreenSettings(msgspec.Struct, frozen=True, kw_only=True):
    """How the screen looks and sounds."""

    theme: str = "bench-dark"
    """``bench-dark``, ``bench-light``, ``bench-plain`` or any that the screen library has."""
    tones: bool = True
    """Ring the terminal's bell for a verdict."""
    speech: bool = False
    """Speak through the system's speech program."""
    gestures: bool = True
    """Let the probes speak: taps, and tips held together at the lead zero."""
    keys: dict[str, str] = {}
    """Key of a command, by its name: ``{"confirm": "enter"}``."""
    pedal: dict[str, str] = {}
    """Key that a pedal sends, by the command that it shall mean."""
    asked: bool = False
    """Whether it was asked how to work while both hands hold the probes."""


FILE: Final = "settings.toml"


class MeterChoice(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The meter that was used last."""

    port: str = ""
    wire: str = ""
    identity: str = ""
    """What it said it is, for a look at what changed."""


class PublishedAccuracy(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line of a meter's specification."""

    meter: str
    """Part of what the meter says it is; empty for every meter."""
    percent: float = 0.0
    counts: float = 0.0
    of_range: float = 0.0
    range: float | None = None
    source: str


class Configuration(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything that is remembered."""

    meter: MeterChoice = MeterChoice()
    exclude: tuple[str, ...] = ()
    profile: str = ""
    who: str = ""
    accuracy: tuple[PublishedAccuracy, ...] = ()
    passport: tuple[Passport, ...] = ()
    assumed: Assumed = NOTHING_SAID
    """What stands in for facts that nobody declares; over what a profile says."""
    rule: Rule | None = None
    """By which parts are accepted or rejected, unless the profile names a rule."""
    screen: ScreenSettings = ScreenSettings()

    def applied_to(self, profile: Profile) -> Profile:
        """Return ``profile`` with what these settings say of assumptions and the rule."""
        return structs.replace(
            profile, assumed=self.assumed.over(profile.assumed), rule=profile.rule or self.rule
        )

    def passport_of(self, identity: Identity) -> Passport | None:
        """Return the passport of the meter that says it is ``identity``."""
        said = str(identity).lower()
        return next((one for one in self.passport if one.meter.lower() in said), None)

    def accuracy_of(self, identity: Identity) -> tuple[Accuracy, ...]:
        """Return the published accuracy of the meter that says it is ``identity``."""
        said = str(identity).lower()
        return tuple(
            Accuracy(
                percent=line.percent,
                counts=line.counts,
                of_range=line.of_range,
                range=line.range,
                source=line.source,
            )
            for line in self.accuracy
            if line.meter.lower() in said
        )


def path() -> Path:
    """Return where the file is, or would be."""
    return config_folder() / FILE


def load() -> Configuration:
    """Return what is remembered; all defaults where there is no file.

    Raises:
        UnreadableError: the file cannot be read.
        InvalidFileError: it does not say what it must.
    """
    file = path()
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        return Configuration()
    except OSError as fault:
        raise UnreadableError(
            f"{plain(str(file))} cannot be read: {fault.strerror or fault}"
        ) from fault
    return decode(data, Configuration, str(file))


def save(configuration: Configuration) -> None:
    """Write ``configuration``, whole or not at all.

    Raises:
        CannotWriteError: it cannot be written.
    """
    data = msgspec.toml.encode(_without_nothing(to_plain(configuration)))
    write_whole(path(), data)


def keep_screen(changed: ScreenSettings) -> None:
    """Remember what was changed on a screen; not worth failing for."""
    with contextlib.suppress(MeterlinkError):
        save(structs.replace(load(), screen=changed))


def _without_nothing(given: object) -> object:
    """TOML has no word for nothing: leave such keys out."""
    if isinstance(given, dict):
        return {k: _without_nothing(v) for k, v in given.items() if v is not None}
    if isinstance(given, list | tuple):
        return [_without_nothing(item) for item in given]
    return given
