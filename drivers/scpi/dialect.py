"""How an instrument that is asked speaks, where it is unlike others: a small TOML file.

Nothing in it is needed for an instrument that keeps to the standard, nor for the usual liberties,
which are found out by trying. README.md beside this file explains each key.
"""

import math
from pathlib import Path
from typing import Annotated, Any, Final, Literal, NamedTuple

import msgspec

from drivers.links.link import LineSettings
from drivers.scpi.answers import AnswerFormError, MeasuredAnswer, parse_answer, parse_measured
from meterlink import declared
from meterlink.errors import InvalidFileError, MeterlinkError, UnreadableError
from meterlink.meter_state import MEANINGS
from meterlink.quantities.text import plain


class ScpiOptions(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Choices that hold for a meter whatever the step."""

    nplc: Annotated[float, msgspec.Meta(gt=0, le=100)] = 1.0
    """Integration time, power line cycles. One cycle cancels hum from the mains and still gives
    well over ten readings a second."""
    burst: Annotated[int, msgspec.Meta(ge=1, le=1000)] = 1
    """Readings asked for at once. More than one lets a fast meter outrun a slow line; the
    readings' times are then spread evenly over the burst."""
    line_hz: Annotated[float, msgspec.Meta(ge=40, le=70)] = 50.0
    """Mains frequency, where the meter does not tell it."""


FORMAT = 1
"""Version of this file format; a file of a newer one is refused."""

Text = Annotated[str, msgspec.Meta(min_length=1, max_length=400)]
Command = Annotated[str, msgspec.Meta(max_length=80, pattern="^[ -~]*$")]
Pause = Annotated[float, msgspec.Meta(ge=0, le=10)]
Wait = Annotated[float, msgspec.Meta(gt=0, le=120)]


class Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base of every part: strict and unchangeable."""


class Ask(Part, frozen=True, kw_only=True):
    """How a reading is asked for."""

    query: Command = ""
    """Such as ``READ?``; empty to find out."""
    before: Command = ""
    """A command to send first, such as ``INIT``."""
    timeout_s: Wait | None = None
    """How long a reading may take; None for what most need."""


class Answer(Part, frozen=True, kw_only=True):
    """How a reading is answered."""

    element: Annotated[int, msgspec.Meta(ge=0, le=20)] | None = None
    """Which of several elements is the value, counted from 0; None to take the first."""
    over_words: tuple[Annotated[str, msgspec.Meta(min_length=1, max_length=24)], ...] = ()
    """Further words for over range, as sent."""
    over_numbers: tuple[float, ...] = ()
    """Numbers that mean over range."""


class SampleAnswer(Part, frozen=True, kw_only=True):
    """An answer to the query for a reading, and what it must be read as."""

    answer: Text
    value: float | None = None
    """SI units."""
    overload: bool = False
    refused: bool = False


class Dialect(Part, frozen=True, kw_only=True):
    """How one instrument speaks."""

    format: int = FORMAT
    name: str = "scpi"
    title: str = "Meter that speaks SCPI"
    facts: Literal["standard", "datasheet", "memory", "measured", "defined here"] = "standard"
    source: str = ""
    line: LineSettings | None = None
    """Settings of a serial line; None to find them."""
    end: str = "\n"
    """What ends a command."""
    answers_end: Literal["line", "pause"] = "line"
    """Whether an answer ends with a line, or only with a pause."""
    identify: Command = "*IDN?"
    """How it is asked who it is; empty where it must not be asked."""
    pause_s: Pause = 0.0
    """How long to leave it alone after a command."""
    first: tuple[Command, ...] = ()
    """Commands to send before it is set or asked, each time it is opened."""
    never: tuple[Command, ...] = ()
    """Beginnings of commands and queries that must not be sent."""
    sets: bool = True
    """Whether function and range are set from here; if not, they are chosen on its panel."""
    ask: Ask = Ask()
    answer: Answer = Answer()
    states: dict[str, str] = {}
    """Queries that are answered 1 or ON while something is on, and its flag: ``relative`` ..."""
    samples: tuple[SampleAnswer, ...] = ()
    extra: dict[str, Any] = {}
    """Notes of your own; not looked at."""

    def may_send(self, command: str) -> bool:
        """Whether ``command`` is not among those that must not be sent."""
        said = command.upper()
        return not any(said.startswith(never.upper()) for never in self.never)


SUFFIX: Final = ".scpi.toml"
"""What their names end with, beside descriptions of frames in the same folder."""


def is_dialect(path: Path) -> bool:
    """Whether ``path`` is named as the description of an instrument that is asked."""
    return path.name.endswith(SUFFIX)


def read_dialect(path: Path) -> Dialect:
    """Return the description in the file ``path``.

    Raises:
        UnreadableError: the file cannot be read.
        InvalidFileError: what it says is impossible; names the key.
    """
    shown = plain(str(path))
    try:
        with path.open("rb") as file:
            data = file.read(declared.LARGEST_FILE + 1)
    except OSError as fault:
        raise UnreadableError(f"{shown} cannot be read: {fault.strerror}") from fault
    dialect = declared.decode(data, Dialect, path.name, as_is=True)
    if dialect.format != FORMAT:
        raise InvalidFileError(
            f"{shown}: format {dialect.format} is not known here, only {FORMAT}; "
            "a newer program may read it"
        )
    if dialect.end not in ("\n", "\r", "\r\n"):
        raise InvalidFileError(f"{shown}: end: must be a line feed, a carriage return or both")
    for query, flag in dialect.states.items():
        if flag not in MEANINGS:
            known = ", ".join(sorted(MEANINGS))
            raise InvalidFileError(
                f"{shown}: states.{plain(query)}: “{plain(flag)}” has no meaning; use {known}"
            )
    return dialect


def check_dialect(dialect: Dialect) -> None:
    """Read every sample.

    Raises:
        InvalidFileError: one is not read as it says; names it and shows the answer.
    """
    for number, sample in enumerate(dialect.samples):
        said = _fault(dialect, sample)
        if said:
            raise InvalidFileError(f"samples[{number}]: “{plain(sample.answer, 60)}” {said}")


def _fault(dialect: Dialect, sample: SampleAnswer) -> str:
    data = sample.answer.encode("latin-1", "replace")
    elements = sample.answer.count(",") + 1
    try:
        (found,) = read_answer(data, Readout("", "", 1, 1.0, elements), dialect.answer)
    except AnswerFormError as fault:
        return "" if sample.refused else f"is not read: {fault}"
    if sample.refused:
        return "must be refused, but is read"
    over = abs(found.value) == float("inf")
    if sample.overload != over or (not over and found.value != sample.value):
        return f"is read as {'an overload' if over else f'{found.value:g}'}"
    return ""


def load_dialects(folder: Path) -> tuple[dict[str, Dialect], list[MeterlinkError]]:
    """Return every usable description in ``folder`` by its name, and what is wrong with others."""
    found: dict[str, Dialect] = {}
    faults: list[MeterlinkError] = []
    for path in sorted(folder.glob(f"*{SUFFIX}")) if folder.is_dir() else ():
        try:
            dialect = read_dialect(path)
        except (InvalidFileError, UnreadableError) as fault:
            faults.append(fault)
        else:
            found[dialect.name] = dialect
    return found, faults


def find_dialect(name: str, folder: Path) -> Dialect | None:
    """Return the description called ``name``, or in the file ``name``; None where there is none.

    Raises:
        UnreadableError, InvalidFileError: the file cannot be used.
    """
    path = Path(name)
    if is_dialect(path):
        return read_dialect(path)
    named = folder / f"{name}{SUFFIX}"
    if named.is_file():
        return read_dialect(named)
    return load_dialects(folder)[0].get(name)


class Readout(NamedTuple):
    """One way to ask for readings."""

    query: str
    before: str
    """Command to send first; empty where the query starts the measurement itself."""
    size: int
    """Readings in each answer."""
    timeout_s: float
    elements: int = 1
    """Elements of each reading: value, time, count ..."""


def read_answer(answer: bytes, way: Readout, told: Answer) -> list[MeasuredAnswer]:
    """Return the readings in ``answer``, oldest first.

    Raises:
        AnswerFormError: rubbish, or not as many numbers as were asked for.
    """
    elements = parse_answer(answer)
    if len(elements) != way.size * way.elements:
        raise AnswerFormError(
            f"{len(elements)} numbers where {way.size * way.elements} were asked for"
        )
    at = told.element or 0
    return [_measured(elements[n + at], told) for n in range(0, len(elements), way.elements)]


def _measured(text: str, told: Answer) -> MeasuredAnswer:
    if text.strip() in told.over_words:
        return MeasuredAnswer(math.inf, text.strip(), plain_number=False)
    found = parse_measured(text)
    if abs(found.value) in told.over_numbers:
        return found._replace(value=math.copysign(math.inf, found.value))
    return found
