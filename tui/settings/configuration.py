"""What is remembered between two sittings: a TOML file in the user's configuration folder.

[meter]                 the one used last
port = "/dev/ttyUSB0"

exclude = ["/dev/ttyACM*"]      ports that are never opened or sent anything

[[accuracy]]            as published, for a meter of this name
meter = "bench meter"
percent = 0.05
counts = 3
source = "the meter's manual, page 12"

[[passport]]            once a meter: certificates, and where its accuracy holds
meter = "bench meter"
lowest = 18
highest = 28
certificate = [{ number = "C-104", calibrated = "2026-03-01", expires = "2027-03-01" }]

rule = "guarded-acceptance"     by which parts are accepted or rejected

[assumed]               what stands in for facts that nobody declares
leads_at_most = "0.3 ohm"
source = "our own leads, measured once"
"""

import contextlib
import os
import tempfile
from pathlib import Path
from typing import Final

import msgspec
from msgspec import structs

from meterlink.declared import decode, to_plain
from meterlink.errors import CannotWriteError, UnreadableError
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assumed import NOTHING_SAID, Assumed
from meterlink.judging.passport import Passport
from meterlink.judging.rule import Rule
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.source import Identity
from tui.settings.shelf import config_folder


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


def _without_nothing(given: object) -> object:
    """TOML has no word for nothing: leave such keys out."""
    if isinstance(given, dict):
        return {k: _without_nothing(v) for k, v in given.items() if v is not None}
    if isinstance(given, list | tuple):
        return [_without_nothing(item) for item in given]
    return given
