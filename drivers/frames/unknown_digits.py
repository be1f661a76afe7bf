"""An unknown byte format, worked out from recorded frames and what the display showed at each.

Nothing is guessed at: what never changed becomes a mark, what changed with unit and range becomes a
code, and a state that was never shown is refused by the description that comes out. No I/O.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise, product
from typing import Any, Final

from drivers.frames import checksums
from drivers.frames.places import DIGITS, SEGMENTS
from drivers.frames.recordings import Display
from drivers.frames.unknown_status import Digits, Frames, Solution, explain

_STRIDES: Final = (16, 8, -16, -8, 12, 24)


def solve(frames: Frames, displays: Sequence[Display]) -> Iterator[Solution]:
    """Yield descriptions that explain every display, the likeliest first.

    Args:
        frames: one at each display, all of one length.
        displays: what was shown.
    """
    length = len(frames[0])
    for key in (0x00, 0xFF, *range(1, 0xFF)):
        plain_frames = [bytes(byte ^ key for byte in frame) for frame in frames]
        for digits in digits_in(plain_frames, displays):
            check = checksums.find(plain_frames, digits.mask)
            solution = explain(plain_frames, displays, digits, check, length, key)
            if solution is not None:
                yield solution


def digits_in(frames: Frames, displays: Sequence[Display]) -> Iterator[Digits]:
    """Yield every way in which the frames hold the digits that were shown."""
    most = max((len(display.digits) for display in displays if not display.over), default=0)
    if not most:
        return
    yield from _characters(frames, displays, most, nibbles=False)
    yield from _segments(frames, displays, most)
    yield from _characters(frames, displays, most, nibbles=True)
    yield from _counts(frames, displays)


def _wanted(display: Display, most: int) -> list[str]:
    """The digits that a display shows, a space where it may be blank or a nought."""
    return list(display.digits.rjust(most))


def _characters(
    frames: Frames, displays: Sequence[Display], most: int, *, nibbles: bool
) -> Iterator[Digits]:
    """Digits that are a byte or a half byte each."""
    rows = [_nibbles(frame) if nibbles else list(frame) for frame in frames]
    base = 0 if nibbles else 0x30
    shown = [(row, _wanted(d, most)) for row, d in zip(rows, displays, strict=True) if not d.over]
    width, places = 4 if nibbles else 8, len(rows[0])
    ways = []
    for number in range(most):
        fits = [
            at
            for at in range(places)
            if all(
                row[at] == base + int(text[number])
                if text[number] != " "
                else row[at] == base or not 0 <= row[at] - base <= 9
                for row, text in shown
            )
        ]
        ways.append(fits)
    for at in _in_a_row(ways):
        blanks = {
            row[place]
            for row, text in shown
            for place, c in zip(at, text, strict=True)
            if c == " " and row[place] != base
        }
        if len(blanks) > 1:
            continue
        yield _character_digits(rows, at, width, blanks, nibbles=nibbles)


def _in_a_row(ways: list[list[int]]) -> Iterator[tuple[int, ...]]:
    """Places that follow one another first, then evenly spaced ones, then any if they are few."""
    for step in (1, 2, -1, -2):
        for first in ways[0]:
            places = tuple(first + step * n for n in range(len(ways)))
            if all(place in way for place, way in zip(places, ways, strict=True)):
                yield places
    total = 1
    for way in ways:
        total *= len(way)
    if 0 < total <= 16:
        for places in product(*ways):
            steps = {b - a for a, b in pairwise(places)}
            if len(set(places)) == len(places) and len(steps) > 1:
                yield places


def _character_digits(
    rows: list[list[int]], at: tuple[int, ...], width: int, blanks: set[int], *, nibbles: bool
) -> Digits:
    base = 0 if nibbles else 0x30
    names = "abcdefghijkmnopqrstuvwxyz"
    glyphs: dict[int, str] = {}
    blank = next(iter(blanks), None)
    texts = []
    for row in rows:
        text = ""
        for place in at:
            value = row[place]
            if 0 <= value - base <= 9:
                text += str(value - base)
            elif value == blank:
                text += " "
            else:
                text += glyphs.setdefault(value, names[len(glyphs) % len(names)])
        texts.append(text)
    length = len(rows[0]) * width // 8
    mask = sum((1 << width) - 1 << 8 * length - width * (place + 1) for place in at)
    table: dict[str, Any] = {
        "coding": "bcd" if nibbles else "ascii",
        "at": [_half(place) if nibbles else place for place in at],
    }
    if blank is not None:
        table["leading_blank"] = True
        table["blank"] = f"{blank:X}" if nibbles else chr(blank)
    if glyphs:
        table["glyphs"] = {
            name: f"{value:X}" if nibbles else f"0x{value:02X}" for value, name in glyphs.items()
        }
    return Digits(table, mask, tuple(texts))


def _segments(frames: Frames, displays: Sequence[Display], most: int) -> Iterator[Digits]:
    """Seven-segment digits, each laid out as its neighbour is."""
    size = 8 * len(frames[0])
    numbers = [int.from_bytes(frame) for frame in frames]
    seen = [(n, _wanted(d, most)) for n, d in zip(numbers, displays, strict=True) if not d.over]
    for stride in _STRIDES:
        found: dict[str, int] = {}
        for segment in SEGMENTS:
            fits = [bit for bit in range(size) if _segment_fits(seen, segment, bit, stride, size)]
            fits = [bit for bit in fits if bit not in found.values()]
            if not fits:
                break
            found[segment] = fits[0]
        if len(found) == len(SEGMENTS):
            yield _segment_digits(numbers, found, stride, most, size)


def _segment_fits(
    seen: list[tuple[int, list[str]]], segment: str, bit: int, stride: int, size: int
) -> bool:
    """Whether ``bit``, counted from the left, is ``segment`` of the first digit."""
    varies = set()
    for number, text in seen:
        for place, character in enumerate(text):
            at = bit + stride * place
            if not 0 <= at < size:
                return False
            lit = bool(number >> (size - 1 - at) & 1)
            ways = [""] if character == " " else []
            ways += DIGITS["0" if character == " " else character]
            may = {segment in way for way in ways}
            if lit not in may:
                return False
            varies.add(lit)
    return len(varies) == 2


def _segment_digits(
    numbers: list[int], found: dict[str, int], stride: int, most: int, size: int
) -> Digits:
    shapes = {frozenset(way): digit for digit, ways in DIGITS.items() for way in ways}
    shapes[frozenset()] = " "
    shapes[frozenset("def")] = "L"
    glyphs: dict[str, str] = {}
    texts, mask = [], 0
    for number in numbers:
        text = ""
        for place in range(most):
            lit = frozenset(
                name
                for name, bit in found.items()
                if number >> (size - 1 - bit - stride * place) & 1
            )
            shown = shapes.get(lit)
            if shown is None:
                shown = glyphs.setdefault("".join(sorted(lit)), "abcdefghijk"[len(glyphs) % 11])
            text += shown
        texts.append(text)
    at = []
    for place in range(most):
        bits = {name: bit + stride * place for name, bit in found.items()}
        mask |= sum(1 << (size - 1 - bit) for bit in bits.values())
        at.append({name: f"{bit // 8}.{7 - bit % 8}" for name, bit in sorted(bits.items())})
    table: dict[str, Any] = {"coding": "segments", "at": at}
    if any(" " in text for text in texts):
        table["leading_blank"] = True
    if glyphs:
        table["glyphs"] = {name: lit for lit, name in glyphs.items()}
    return Digits(table, mask, tuple(texts))


def _counts(frames: Frames, displays: Sequence[Display]) -> Iterator[Digits]:
    """A binary number of two to four bytes."""
    length = len(frames[0])
    seen = [(f, d) for f, d in zip(frames, displays, strict=True) if not d.over]
    for size in (2, 3, 4):
        for first in range(length - size + 1):
            ascending = tuple(range(first, first + size))
            for at in (ascending, ascending[::-1]):
                for signed in (False, True):
                    if all(
                        int.from_bytes(bytes(frame[p] for p in at), signed=signed)
                        == int(d.digits) * (-1 if d.negative and signed else 1)
                        for frame, d in seen
                    ):
                        yield _count_digits(frames, at, signed=signed)
                        break


def _count_digits(frames: Frames, at: tuple[int, ...], *, signed: bool) -> Digits:
    values = [int.from_bytes(bytes(frame[p] for p in at), signed=signed) for frame in frames]
    mask = sum(0xFF << 8 * (len(frames[0]) - 1 - place) for place in at)
    table: dict[str, Any] = {"at": list(at)}
    if signed:
        table["signed"] = True
    return Digits(table, mask, tuple(map(str, values)), signed)


def _nibbles(frame: bytes) -> list[int]:
    return [half for byte in frame for half in (byte >> 4, byte & 15)]


def _half(place: int) -> str:
    return f"{place // 2}.{'low' if place % 2 else 'high'}"
