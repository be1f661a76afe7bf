"""One record, one line: how readings, events and the file's own records are written as JSON.

Every record is a JSON object with a ``kind`` on a line of its own (see FORMAT.md). Numbers are
written so that they come back bit for bit. JSON has no way to write infinity or not-a-number:
a reading whose value is one has ``value: null``; elsewhere the words ``"inf"``, ``"-inf"`` and
``"nan"`` stand where a number would.
"""

import math
import secrets
from typing import Any, BinaryIO, Final, TypeAlias, cast

import msgspec

import meterlink
from captures.record.seals import LONGEST_LINE, Seal
from meterlink.card import BenchEvent
from meterlink.commands import Enter
from meterlink.errors import UnreadableError
from meterlink.events import CommandReceived, Entered, Event, Note
from meterlink.judging.accuracy import Accuracy
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity, Setting

PROGRAM: Final = f"meterlink {meterlink.__version__}"
"""What writes files here."""

CAPTURE_FORMAT: Final = "meterlink-capture"
LOG_FORMAT: Final = "meterlink-job-log"
VERSION: Final = "1.1"
"""Major and minor: a newer minor only adds kinds and keys, a newer major may not be read."""

_SALT_BYTES: Final = 16

_LONGEST_TEXT: Final = 10_000
"""Characters left of each text of a record that would be longer than a line may be."""


class Header(
    msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, tag_field="kind", tag="header"
):
    """The first line of every file: what this is, when it began and with what."""

    format: str = msgspec.field(default_factory=lambda: CAPTURE_FORMAT)
    version: str = msgspec.field(default_factory=lambda: VERSION)
    started: str
    """RFC 3339 with offset: the wall time of ``t`` = 0."""
    program: str
    """Name and version of what wrote the file."""
    title: str = ""
    """What a person calls the job."""
    meter: Identity | None = None
    setting: Setting | None = None
    """What the meter was set to when the file began."""
    accuracy: tuple[Accuracy, ...] = ()
    profile: str = ""
    card: str = ""
    step: str = ""
    lead_zero: float | None = None
    """Ohms, taken before this file began."""
    temperatures: dict[str, float] = {}
    """Degrees Celsius by place: ``air``, ``winding`` ..."""
    settings: dict[str, Any] = {}
    """Anything else worth keeping: scenario, seed, who set it up."""


class CaptureBegan(Event, frozen=True, kw_only=True, tag="capture-began"):
    """In a job log: from here on ``t`` counts from the start of this capture."""

    file: str
    """Path inside the job's folder, with forward slashes."""


class CaptureEnded(Event, frozen=True, kw_only=True, tag="capture-ended"):
    """In a job log: the capture was closed, and this is its final seal."""

    file: str
    lines: int
    sha256: str


class Attached(Event, frozen=True, kw_only=True, tag="attachment"):
    """In a job log: a copy of some other file, a photo for instance, was put into the folder."""

    file: str
    name: str
    """What the file was called where it came from."""
    bytes: int
    sha256: str
    note: str = ""


class Struck(Event, frozen=True, kw_only=True, tag="struck"):
    """In a job log: texts were struck from the records of the job."""

    lines: int
    """From so many lines of all its records."""
    reason: str = ""
    who: str = ""


class _Reading(
    msgspec.Struct, frozen=True, omit_defaults=True, gc=False, tag_field="kind", tag="reading"
):
    """A ``Reading`` as it stands in the file."""

    t: float
    value: float | None
    quantity: Quantity = Quantity.RESISTANCE
    resolution: float | None = None
    overload: bool = False
    special: str = ""
    """``inf``, ``-inf`` or ``nan`` where ``value`` is null for another reason than ``overload``."""
    raw: str = ""
    flags: tuple[str, ...] = ()


class Unknown(msgspec.Struct, frozen=True):
    """A record of a kind that a newer program wrote: kept in the file and passed over."""

    kind: str
    fields: dict[str, Any]


class RecordError(ValueError):
    """A line is no record; ``str()`` says why, without the line's own text."""


FileRecord: TypeAlias = Header | Seal | CaptureBegan | CaptureEnded | Attached | Struck
Record: TypeAlias = Reading | BenchEvent | FileRecord | Unknown

_READINGS: Final = msgspec.json.Decoder(list[_Reading], strict=False)
_DECODER: Final = msgspec.json.Decoder(_Reading | FileRecord | BenchEvent, strict=False)
_ANY: Final = msgspec.json.Decoder(dict[str, Any])
_ENCODER: Final = msgspec.json.Encoder()
_NUMBERS: Final = {"": math.nan, "nan": math.nan, "inf": math.inf, "-inf": -math.inf}


def encode(record: Reading | Event | FileRecord) -> bytes:
    """Return ``record`` as one line, line feed included."""
    return _encode_object(_as_written(record) if isinstance(record, Reading) else record)


def salted(line: bytes, record: object) -> bytes:
    """Return the line of ``record`` with a salt at its end, where it holds a text to be struck."""
    match record:
        case Header(title=title) if title:
            pass
        case Note() | Attached() | Entered(value=None) | CommandReceived(command=Enter()):
            pass
        case _:
            return line
    salt = secrets.token_hex(_SALT_BYTES).encode()
    return line.removesuffix(b"}\n") + b',"salt":"' + salt + b'"}\n'


def decode(line: bytes) -> Record:
    """Return the record that ``line`` (with or without its line feed) holds.

    Raises:
        RecordError: the line holds no record.
    """
    try:
        found = _DECODER.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        return _decode_unknown(line, fault)
    return _as_read(found) if isinstance(found, _Reading) else found


def decode_readings(lines: list[bytes]) -> list[Reading]:
    """Return the readings of ``lines``, each of which holds one: all in one go, which is quicker.

    Raises:
        RecordError: some line holds none.
    """
    try:
        found = _READINGS.decode(b"[" + b",".join(lines) + b"]")
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        raise RecordError("not all of them are readings") from fault
    if len(found) != len(lines):
        raise RecordError("a line holds more than one reading")
    return [_as_read(one) for one in found]


def read_header(file: BinaryIO, name: str, expect: str = CAPTURE_FORMAT) -> Header:
    """Return the header of a file that is at its beginning; ``name`` stands for it in errors.

    Raises:
        UnreadableError: it is cut, no such file as ``expect``, or from a newer program.
        OSError: the medium fails.
    """
    line = file.readline(LONGEST_LINE)
    if line and not line.endswith(b"\n") and len(line) < LONGEST_LINE:
        raise UnreadableError(f"{name} was cut inside its first line; nothing is left")
    try:
        header = decode(line)
    except RecordError:
        header = None
    if not isinstance(header, Header) or header.format != expect:
        wanted = "capture" if expect == CAPTURE_FORMAT else "job log"
        raise UnreadableError(f"{name} is no {wanted}: its first line is not the header")
    check_version(name, header)
    return header


def check_version(name: str, header: Header) -> None:
    """Refuse what a newer program wrote in a way that this one may misread.

    Raises:
        UnreadableError: the major version is newer, or is no number.
    """
    major = header.version.partition(".")[0]
    known = VERSION.partition(".")[0]
    if not (major.isascii() and major.isdigit()) or len(major) > len(known) + 3:
        raise UnreadableError(f"{name} does not say which version of its format it has")
    if int(major) > int(known):
        raise UnreadableError(
            f"{name} was written by a newer program (format {plain(header.version, 12)}, "
            f"this one reads up to {known}); update meterlink to read it"
        )


def known_kinds() -> frozenset[str]:
    """Return every ``kind`` that this version reads."""
    return _KINDS


def record_types() -> list[Any]:
    """Return the Struct of every kind, as it stands in a file."""
    return list(cast("Any", _Reading | FileRecord | BenchEvent).__args__)


def _as_written(reading: Reading) -> _Reading:
    value: float | None = reading.value
    special = ""
    if not math.isfinite(reading.value):
        value = None
        usual = math.inf if reading.overload else math.nan
        if repr(usual) != repr(reading.value):
            special = repr(reading.value)
    return _Reading(
        reading.t,
        value,
        reading.quantity,
        reading.resolution,
        reading.overload,
        special,
        reading.raw,
        reading.flags,
    )


def _as_read(found: _Reading) -> Reading:
    value = found.value
    if value is None:
        usual = math.inf if found.overload else math.nan
        value = _NUMBERS.get(found.special, math.nan) if found.special else usual
    return Reading(
        found.t,
        value,
        found.quantity,
        found.resolution,
        found.overload,
        found.raw,
        found.flags,
    )


def _encode_object(record: object) -> bytes:
    try:
        line = _ENCODER.encode(record)
    except UnicodeEncodeError:
        line = b"null"
    if b"null" in line:
        # Rare, so it may be slow: a null may be an infinity that msgspec could not write.
        line = _ENCODER.encode(_writable(msgspec.to_builtins(record)))
    if len(line) >= LONGEST_LINE:
        line = _ENCODER.encode(_writable(msgspec.to_builtins(record), _LONGEST_TEXT))
    return line + b"\n"


def _writable(value: Any, longest: int | None = None) -> Any:
    """Return ``value`` with what JSON or UTF-8 cannot hold said in another way, texts cut."""
    if isinstance(value, float) and not math.isfinite(value):
        return repr(value)
    if isinstance(value, str):
        return value[:longest].encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, dict):
        return {_writable(k, longest): _writable(item, longest) for k, item in value.items()}
    if isinstance(value, list | tuple):
        return [_writable(item, longest) for item in value]
    return value


def _decode_unknown(line: bytes, fault: Exception) -> Unknown:
    try:
        fields = _ANY.decode(line)
    except UnicodeDecodeError:
        raise RecordError("not UTF-8") from fault
    except (msgspec.DecodeError, RecursionError):
        raise RecordError("not a JSON object") from fault
    kind = fields.get("kind")
    if not isinstance(kind, str):
        raise RecordError("no kind") from fault
    if kind in _KINDS:
        raise RecordError(f"a {kind} record that does not fit: {fault}") from fault
    return Unknown(kind, fields)


_KINDS: Final = frozenset(str(kind.__struct_config__.tag) for kind in record_types())
