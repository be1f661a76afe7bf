"""What a description of frames may say in TOML. README.md beside this file explains it.

Bytes of a frame are numbered from 0. A place in a frame is written

* ``3``: the whole of byte 3,
* ``"3.high"`` or ``"3.low"``: a half of byte 3,
* ``"3.5"``: bit 5 of byte 3, bit 0 being worth 1,
* ``"3=H"``: for a flag, byte 3 being the character H.

Only the types are settled here; what fits together is checked where it is compiled.
"""

from typing import Annotated, Any, Literal

import msgspec

from drivers.links.link import LineSettings, Packets

FORMAT = 1
"""Version of this description format; a file of a newer one is refused."""

Text = Annotated[str, msgspec.Meta(min_length=1, max_length=400)]
Words = tuple[Annotated[str, msgspec.Meta(min_length=1, max_length=32)], ...]
Positive = Annotated[float, msgspec.Meta(gt=0, lt=1e30)]
NotNegative = Annotated[float, msgspec.Meta(ge=0, lt=1e30)]
BitPlace = int | str
Decimals = Annotated[int, msgspec.Meta(ge=0, le=9)]


class DescriptionPart(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base of every part: strict and unchangeable."""


class Rate(DescriptionPart, frozen=True, kw_only=True):
    """How often the meter sends."""

    slowest_hz: Annotated[float, msgspec.Meta(gt=0, le=10_000)]
    """Readings a second on its slowest setting."""
    usual_hz: Annotated[float, msgspec.Meta(gt=0, le=10_000)]


class Poll(DescriptionPart, frozen=True, kw_only=True):
    """A meter that sends only when asked: one command, one answer."""

    command: Annotated[str, msgspec.Meta(min_length=1, max_length=64)]
    every_s: NotNegative = 0.0
    """Least time between two commands; 0 asks again as soon as the answer has come."""
    timeout_s: Positive = 1.0
    """How long an answer may take."""


class Mark(DescriptionPart, frozen=True, kw_only=True):
    """Bytes that are the same in every frame."""

    at: int
    hex: Text
    """The bytes, such as ``"0D 0A"``."""
    mask: str = ""
    """Which bits of them are always the same, as long as ``hex``; empty for all."""


class Sequence(DescriptionPart, frozen=True, kw_only=True):
    """One half of each byte counts the bytes of the frame."""

    nibble: Literal["high", "low"]
    first: Annotated[int, msgspec.Meta(ge=0, le=15)] = 1
    """The number in the first byte; it counts up by 1, and after 15 comes 0."""


class Checksum(DescriptionPart, frozen=True, kw_only=True):
    """A byte, or two, that depend on others."""

    kind: Literal["sum", "negative-sum", "xor", "crc"]
    """Sum of the bytes, what makes the sum 0, exclusive or, or the rest of a division (CRC)."""
    first: int
    last: int
    """First and last byte that it covers; counted from the end where negative, -1 the last."""
    at: int
    """Where it stands; likewise."""
    written: Literal["byte", "hex"] = "byte"
    """As bytes, or as twice as many characters 0-9 A-F from ``at`` on."""
    start: Annotated[int, msgspec.Meta(ge=0, le=0xFFFF)] = 0
    """What is added, or combined, to begin with; for a CRC what its register begins with."""
    bits: Literal[8, 16] = 8
    """Width."""
    order: Literal["big", "little"] = "big"
    """Of two bytes, which comes first: the upper one, or the lower."""
    poly: Annotated[int, msgspec.Meta(ge=1, le=0xFFFF)] | None = None
    """Of a CRC: its polynomial without the highest power, such as 0x1021."""
    reflected: bool = False
    """Of a CRC: bytes go in, and the rest comes out, lowest bit first."""
    final: Annotated[int, msgspec.Meta(ge=0, le=0xFFFF)] = 0
    """What the result is combined with at the end, by exclusive or."""


class LengthByte(DescriptionPart, frozen=True, kw_only=True):
    """A byte that says how long the frame is."""

    at: Annotated[int, msgspec.Meta(ge=0, le=8)]
    adds: Annotated[int, msgspec.Meta(ge=-8, le=32)] = 0
    """What its value and this come to is the number of bytes in the whole frame."""


class BytesFrame(DescriptionPart, frozen=True, kw_only=True, tag_field="kind", tag="bytes"):
    """Frames of one fixed length, or of one that each frame tells."""

    length: Annotated[int, msgspec.Meta(ge=2, le=64)]
    """Bytes; where frames tell their length, most bytes."""
    shortest: Annotated[int, msgspec.Meta(ge=2, le=64)] | None = None
    """Fewest bytes, where frames tell their length; all parts must lie within them."""
    length_byte: LengthByte | None = None
    end: str = ""
    """Bytes in hexadecimal that end a frame of any length."""
    xor: str = ""
    """Bytes in hexadecimal that each frame was combined with by exclusive or, over and over from
    its start; ``FF`` where every bit is inverted."""
    sequence: Sequence | None = None
    marks: tuple[Mark, ...] = ()
    checksum: Checksum | None = None


class LinesFrame(DescriptionPart, frozen=True, kw_only=True, tag_field="kind", tag="lines"):
    """Lines of text."""

    end: Annotated[str, msgspec.Meta(min_length=1, max_length=2)] = "\r\n"
    """What ends a line. Where this is CR, LF or both, either of them is taken for an end."""
    length: Annotated[int, msgspec.Meta(ge=1, le=250)] | None = None
    """Characters in every line without its end, where they are always as many."""
    longest: Annotated[int, msgspec.Meta(ge=4, le=250)] = 60
    """Characters in the longest line; more without an end are thrown away."""
    encoding: Literal["ascii", "latin-1", "utf-8"] = "ascii"


class Digits(DescriptionPart, frozen=True, kw_only=True):
    """Where the digits stand, most significant first."""

    coding: Literal["ascii", "bcd", "segments"]
    at: Annotated[tuple[int | str | dict[str, str], ...], msgspec.Meta(min_length=1, max_length=12)]
    """A byte each (ascii), a half byte each (bcd), or a table of segments ``a`` to ``g`` with
    the bit of each. A half digit, which can only show 1, has the segments ``b`` and ``c``."""
    leading_blank: bool = False
    """Whether leading zeros are left blank."""
    blank: Annotated[str, msgspec.Meta(min_length=1, max_length=1)] | None = None
    """The character, or the value as one hexadecimal digit, of a blank; default a space, and
    none in bcd. In segments a blank has none lit."""
    glyphs: dict[str, str] = {}
    """Further characters that appear in an overload: the lit segments, or the byte's or half
    byte's own character. L, E and - are known in segments."""
    largest: Annotated[int, msgspec.Meta(ge=1, lt=10**12)] | None = None
    """The largest number shown before it reads as over range; default all nines."""


class Count(DescriptionPart, frozen=True, kw_only=True):
    """The value as a binary number, in place of digits."""

    at: Annotated[tuple[int, ...], msgspec.Meta(min_length=1, max_length=4)]
    """The bytes, the uppermost first."""
    signed: bool = False
    """Whether it is in two's complement."""
    largest: Annotated[int, msgspec.Meta(ge=1, lt=2**32)] | None = None
    """The largest number before it reads as over range; default all that fits."""


class StartCommand(DescriptionPart, frozen=True, kw_only=True):
    """What a meter wants to hear before it sends."""

    hex: Text
    again_s: NotNegative = 0.0
    """How often it wants to hear it; 0 for once."""


class Sign(DescriptionPart, frozen=True, kw_only=True):
    """Where the sign is: a flag, or a character."""

    flag: str | None = None
    """Name of the flag that is set for minus."""
    at: BitPlace | None = None
    minus: Annotated[str, msgspec.Meta(min_length=1, max_length=1)] = "-"
    plus: Annotated[str, msgspec.Meta(min_length=1, max_length=4)] = "+ "
    """Every character that means plus; the first is the one that is sent."""


class Point(DescriptionPart, frozen=True, kw_only=True):
    """Where the decimal point stands, as the number of digits behind it."""

    flags: dict[str, Decimals] = {}
    """Flag of each point, and how many digits follow it; at most one may be set."""
    at: BitPlace | None = None
    codes: dict[str, Decimals] = {}
    """Where ``at`` holds a code: each code, and how many digits follow the point."""
    decimals: Decimals = 0
    """Digits behind the point where no flag is set."""


class Coded(DescriptionPart, frozen=True, kw_only=True):
    """A byte or half byte whose value is looked up in the modes or their ranges."""

    at: BitPlace | tuple[BitPlace, ...]
    """One place, or several that are looked up together: their codes then have a space between."""


class TextLayout(DescriptionPart, frozen=True, kw_only=True):
    """How a line is put together: ``[label] number [unit] [words]``."""

    gap: Annotated[str, msgspec.Meta(max_length=2)] = " "
    """What stands between the parts. A space means any number of them, also none."""
    decimal: Literal[".", ","] = "."
    sign: Literal["optional", "always"] = "optional"
    sign_apart: bool = False
    """Whether spaces may stand between the sign and the digits."""
    exponent: Literal["never", "optional", "always"] = "never"
    figures: Annotated[int, msgspec.Meta(ge=1, le=12)] = 5
    """Significant figures that a simulated meter sends where a mode lists no ranges."""


class Overload(DescriptionPart, frozen=True, kw_only=True):
    """How the meter says that the value is over its range."""

    flag: str | None = None
    """Name of a flag."""
    counts: tuple[int, ...] = ()
    """Values of the binary number that mean over range."""
    shown: tuple[str, ...] = ()
    """What the digits then show, one character a digit, a space for a blank. ``"1   "`` is the
    lone 1 at the left with the rest blank."""
    words: Words = ()
    """In lines: what stands in place of the number."""
    bare: bool = False
    """In lines: the word may come without unit and label; the last ones seen then hold."""
    numbers: tuple[Positive, ...] = ()
    """In lines: numbers that mean over range, such as 999999, as sent and without unit."""
    scpi: bool = False
    """In lines: 9.9E37 means over range and 9.91E37 not-a-number, as in the SCPI standard."""


class Range(DescriptionPart, frozen=True, kw_only=True):
    """One range of a mode."""

    resolution: Positive
    """What one count of the last digit is worth, SI units."""
    code: str | None = None
    """The range code; needed where the description has ``[range]``."""
    full: Positive | None = None
    """Full scale, SI units; default what the largest number shown comes to."""
    percent: NotNegative | None = None
    counts: NotNegative | None = None
    """Accuracy on this range, where it differs from the mode's."""


class Mode(DescriptionPart, frozen=True, kw_only=True):
    """One position of the meter's knob: how it is told, and what the digits then mean."""

    quantity: str
    """One of the quantities, or ``none`` for a position whose readings are passed over."""
    knob: str = ""
    """What the position is called; default the quantity."""
    function: str | None = None
    """The function code; needed where the description has ``[function]``."""
    flags: tuple[str, ...] = ()
    """Flags that are set. A flag that any mode names is clear where a mode does not name it."""
    labels: Words = ()
    """In lines: words in front of the number."""
    units: dict[str, Positive] = {}
    """In lines: each unit as sent, and how many SI units it is."""
    assumed: bool = False
    """The frames do not say what the knob is on; this is assumed until the step says otherwise."""
    scale: Positive = 1.0
    """SI units in one unit of the display, without prefix."""
    prefixes: tuple[str, ...] = ()
    """Names in ``[prefixes]`` that can appear here; none of them is always allowed."""
    largest: Annotated[int, msgspec.Meta(ge=1, lt=10**12)] | None = None
    """As in ``[digits]``, where it differs on this position."""
    ranges: tuple[Range, ...] = ()
    """All the ranges there are; where none is listed every point and prefix goes."""
    percent: NotNegative | None = None
    counts: NotNegative | None = None
    """Accuracy: percent of reading and counts of the last digit."""


class Sample(DescriptionPart, frozen=True, kw_only=True):
    """A frame and what it must be read as."""

    hex: str | None = None
    text: str | None = None
    """The frame, in either way; a line without its end."""
    value: float | None = None
    """SI units."""
    overload: bool = False
    not_a_number: bool = False
    quantity: str | None = None
    resolution: float | None = None
    flags: tuple[str, ...] | None = None
    """Every flag that is set, besides those of sign, point, prefix, mode and overload."""
    refused: bool = False
    """The frame is damaged and must give nothing."""


class Description(DescriptionPart, frozen=True, kw_only=True):
    """One format."""

    format: int
    name: Annotated[str, msgspec.Meta(pattern="^[a-z0-9]+(-[a-z0-9]+)*$", max_length=40)]
    title: Text
    facts: Literal["standard", "datasheet", "memory", "measured", "defined here"]
    """Where the facts come from."""
    source: Text
    """The same in words: which standard, which component's datasheet, who remembers or measured."""
    line: LineSettings
    other_bauds: tuple[Annotated[int, msgspec.Meta(ge=50, le=4_000_000)], ...] = ()
    """Speeds that meters of this shape are also found with."""
    rate: Rate
    frame: BytesFrame | LinesFrame
    modes: Annotated[tuple[Mode, ...], msgspec.Meta(min_length=1)]
    samples: Annotated[tuple[Sample, ...], msgspec.Meta(min_length=1)]
    poll: Poll | None = None
    hid: Packets | None = None
    """How frames lie in the reports of an HID device; None where it comes on a serial line."""
    start: StartCommand | None = None
    digits: Digits | None = None
    count: Count | None = None
    sign: Sign | None = None
    point: Point | None = None
    function: Coded | None = None
    range: Coded | None = None
    flags: dict[str, str] = {}
    """Each flag and its bit, or in lines its word. ``hold``, ``battery_low``, ``auto`` and
    ``manual`` are understood; other names are for use elsewhere in the description."""
    prefixes: dict[str, Positive] = {}
    """Flags that multiply: at most one of them is set."""
    text: TextLayout | None = None
    overload: Overload = Overload()
    accuracy_source: str = ""
    """Where ``percent`` and ``counts`` come from."""
    extra: dict[str, Any] = {}
    """Notes of your own; not looked at."""
