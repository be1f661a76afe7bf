"""Places in a frame as masks: the frame is taken as one large whole number, first byte on top.

So a mark, a flag, a digit or a code, wherever its bits lie, is a mask and what may stand there.
"""

import re
from typing import Final, NamedTuple

import msgspec

from drivers.frames.description import BitPlace, Digits
from meterlink.errors import InvalidFileError
from meterlink.quantities.text import plain

_BIT: Final = re.compile(r"(\d{1,2})\.([0-7])")
_HALF: Final = re.compile(r"(\d{1,2})\.(high|low)")
_CHARACTER: Final = re.compile(r"(\d{1,2})(?:\.(high|low))?=(.|0[xX][0-9A-Fa-f]{1,2})")
_HEX: Final = re.compile(r"0[xX]([0-9A-Fa-f]{1,2})")


class BitField(NamedTuple):
    """A run of neighbouring bits."""

    mask: int
    shift: int
    """How far the lowest of them is from the right."""
    width: int
    """Bits: 1, 4 or 8."""


class Test(NamedTuple):
    """A condition on a frame: ``frame & mask == value``."""

    mask: int
    value: int


class Places:
    """Reads places for frames of one length, and keeps account of which bits are spoken for."""

    def __init__(self, length: int) -> None:
        self.length = length
        self._owners: list[tuple[int, str]] = []

    def byte(self, at: int, key: str) -> BitField:
        """Return the whole of byte ``at``.

        Raises:
            InvalidFileError: the frame has no such byte.
        """
        if not 0 <= at < self.length:
            raise InvalidFileError(
                f"{key}: byte {at} lies outside the frame, whose bytes are 0 to {self.length - 1}"
            )
        shift = 8 * (self.length - 1 - at)
        return BitField(0xFF << shift, shift, 8)

    def field(self, at: BitPlace, key: str) -> BitField:
        """Return a byte or half byte."""
        if isinstance(at, int):
            return self.byte(at, key)
        half = _HALF.fullmatch(at)
        if half is None:
            raise InvalidFileError(
                f"{key}: “{plain(at)}” is no place; write a byte as 3, a half byte as “3.high”"
            )
        shift = self.byte(int(half[1]), key).shift + (4 if half[2] == "high" else 0)
        return BitField(0xF << shift, shift, 4)

    def bit(self, at: str, key: str) -> int:
        """Return the mask of one bit."""
        bit = _BIT.fullmatch(at)
        if bit is None:
            raise InvalidFileError(
                f"{key}: “{plain(at)}” is no bit; write bit 5 of byte 3 as “3.5”"
            )
        return 1 << (self.byte(int(bit[1]), key).shift + int(bit[2]))

    def flag(self, at: str, key: str) -> Test:
        """Return the condition for a flag: a bit that is set, or a byte or half of a value."""
        character = _CHARACTER.fullmatch(at)
        if character is None:
            mask = self.bit(at, key)
            return Test(mask, mask)
        byte = int(character[1])
        field = self.field(f"{byte}.{character[2]}" if character[2] else byte, key)
        return Test(field.mask, code_value(character[3], field, key) << field.shift)

    def claim(self, mask: int, key: str, *, shared: bool = False) -> None:
        """Note that ``key`` owns the bits of ``mask``.

        Raises:
            InvalidFileError: some of them are another's already. Of two that are ``shared``, such
                as characters in one byte, both may own the very same bits.
        """
        for owned, owner in self._owners:
            if owned & mask and not (shared and owned == mask):
                raise InvalidFileError(
                    f"{key}: overlaps {owner} in byte {self._first_byte(owned & mask)}"
                )
        self._owners.append((mask, key))

    def _first_byte(self, mask: int) -> int:
        return self.length - 1 - (mask.bit_length() - 1) // 8


def code_value(code: str, field: BitField, key: str) -> int:
    """Return what ``code`` is as the value of ``field``.

    A code is ``0x`` with hexadecimal digits, or for a byte its character, or for half a byte one
    hexadecimal digit.

    Raises:
        InvalidFileError: it is none of these, or too large for the field.
    """
    written = _HEX.fullmatch(code)
    try:
        if written:
            value = int(written[1], 16)
        elif len(code) == 1:
            value = ord(code) if field.width == 8 else int(code, 16)
        else:
            value = -1
    except ValueError:
        value = -1
    if not 0 <= value < 1 << field.width:
        holds = "character, or 0x00 to 0xFF" if field.width == 8 else "hexadecimal digit"
        raise InvalidFileError(f"{key}: “{plain(code)}” is no code; it must be one {holds}")
    return value


SEGMENTS: Final = "abcdefg"


DIGITS: Final[dict[str, tuple[str, ...]]] = {
    "0": ("abcdef",),
    "1": ("bc",),
    "2": ("abdeg",),
    "3": ("abcdg",),
    "4": ("bcfg",),
    "5": ("acdfg",),
    "6": ("acdefg", "cdefg"),
    "7": ("abc", "abcf"),
    "8": ("abcdefg",),
    "9": ("abcdfg", "abcfg"),
}
"""Each digit and how it is drawn, the usual way first."""


LETTERS: Final[dict[str, tuple[str, ...]]] = {
    "L": ("def",),
    "E": ("adefg",),
    "-": ("g",),
}
"""What appears in an overload. The letter O is drawn as 0."""


def drawings(available: str, extra: dict[str, str]) -> dict[frozenset[str], str]:
    """Return each pattern of lit segments and what it shows, for a digit that has ``available``.

    A digit that lacks segments, such as the half digit at the left of a 3 1/2-digit display, shows
    only what needs no more than it has. Nothing lit is a space.
    """
    shapes = {**DIGITS, **LETTERS, **{glyph: (lit,) for glyph, lit in extra.items()}}
    known = {frozenset[str](): " "}
    for glyph, ways in shapes.items():
        for lit in ways:
            if set(lit) <= set(available):
                known.setdefault(frozenset(lit), glyph)
    return known


class Digit(msgspec.Struct, frozen=True):
    """One digit: its bits, and what each pattern of them shows."""

    mask: int
    shows: dict[int, str]
    """Masked frame to character; a space is a blank."""
    drawn: dict[str, int]
    """Character to the bits that are sent for it."""


def make_digit(digits: Digits, number: int, places: Places) -> Digit:
    """Return digit ``number`` and claim its bits."""
    at, key = digits.at[number], f"digits.at[{number}]"
    if digits.coding == "segments":
        if not isinstance(at, dict):
            raise InvalidFileError(f"{key}: must be a table of segments, such as {{ a = “2.0” }}")
        digit = _segments(at, digits, key, places)
    else:
        if isinstance(at, dict):
            raise InvalidFileError(f"{key}: a table of segments, yet coding is {digits.coding}")
        field = places.field(at, key)
        if field.width != (8 if digits.coding == "ascii" else 4):
            whole = "whole byte, such as 3" if digits.coding == "ascii" else "half byte: “3.high”"
            raise InvalidFileError(f"{key}: a digit in {digits.coding} is a {whole}")
        digit = _characters(field, digits, key)
    places.claim(digit.mask, key)
    return digit


def _segments(at: dict[str, str], digits: Digits, key: str, places: Places) -> Digit:
    strange = set(at) - set(SEGMENTS)
    if strange:
        raise InvalidFileError(
            f"{key}.{plain(min(strange))}: no segment; they are a to g, a being the top"
        )
    bits = {name: places.bit(where, f"{key}.{name}") for name, where in at.items()}
    mask = 0
    for name, bit in bits.items():
        if mask & bit:
            raise InvalidFileError(f"{key}.{name}: another segment of this digit has the same bit")
        mask |= bit
    for glyph, lit in digits.glyphs.items():
        _check_glyph(glyph)
        if not lit or set(lit) - set(SEGMENTS):
            raise InvalidFileError(f"digits.glyphs.{glyph}: must be its lit segments, a to g")
    shows: dict[int, str] = {}
    drawn: dict[str, int] = {}
    for lit_set, shown in drawings("".join(at), digits.glyphs).items():
        value = sum(bits[name] for name in lit_set)
        shows[value] = shown
        drawn.setdefault(shown, value)
    if not any(shown.isdigit() for shown in shows.values()):
        raise InvalidFileError(f"{key}: too few segments to show any digit")
    return Digit(mask, shows, drawn)


def _characters(field: BitField, digits: Digits, key: str) -> Digit:
    """A digit that is one character, or one half byte."""
    base = ord("0") if field.width == 8 else 0
    values = {str(number): base + number for number in range(10)}
    blank = digits.blank or (" " if field.width == 8 else None)
    if blank is not None:
        values[" "] = code_value(blank, field, "digits.blank")
    for glyph, code in digits.glyphs.items():
        _check_glyph(glyph)
        values[glyph] = code_value(code, field, f"digits.glyphs.{glyph}")
    drawn = {shown: value << field.shift for shown, value in values.items()}
    shows = {value: shown for shown, value in drawn.items()}
    if len(shows) != len(drawn):
        raise InvalidFileError(f"{key}: two characters of digits have the same code")
    return Digit(field.mask, shows, drawn)


def _check_glyph(glyph: str) -> None:
    if len(glyph) != 1 or not "!" <= glyph <= "~" or glyph.isdigit():
        raise InvalidFileError(
            f"digits.glyphs.{plain(glyph)}: the name must be one character, and no digit"
        )
