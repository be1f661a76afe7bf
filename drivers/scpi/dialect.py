"""How an instrument that is asked speaks, where it is unlike others: a small TOML file.

Nothing in it is needed for an instrument that keeps to the standard, nor for the usual liberties,
which are found out by trying. README.md beside this file explains each key.
"""

from typing import Annotated, Any, Literal

import msgspec

from drivers.links.link import LineSettings


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


class Sample(Part, frozen=True, kw_only=True):
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
    samples: tuple[Sample, ...] = ()
    extra: dict[str, Any] = {}
    """Notes of your own; not looked at."""

    def may_send(self, command: str) -> bool:
        """Whether ``command`` is not among those that must not be sent."""
        said = command.upper()
        return not any(said.startswith(never.upper()) for never in self.never)
