"""An unknown byte format, worked out from recorded frames and what the display showed at each.

Nothing is guessed at: what never changed becomes a mark, what changed with unit and range becomes a
code, and a state that was never shown is refused by the description that comes out. No I/O.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise, product
from math import prod
from typing import Any, Final

from drivers.frames import checksums
from drivers.frames.places import DIGITS, SEGMENTS
from drivers.frames.recordings import Display
from drivers.frames.unknown_frames import Cut
from drivers.frames.unknown_status import FormatSolution, FoundDigits, Frames, explain

_STRIDES: Final = (16, 8, -16, -8, 12, 24)
_USUAL_KEYS: Final = (0x00, 0xFF)
_MOST_KEYS: Final = 256


def solve(
    cut: Cut,
    displays: Sequence[Display],
    keep_time: Callable[[], None],
    *,
    rare: bool = False,
) -> Iterator[FormatSolution]:
    """Yield descriptions that explain every display, the likeliest first.

    Args:
        cut: the frames, one at each display.
        displays: what was shown.
        keep_time: called between tries; raises where there is no time for more.
        rare: whether to take the frames for combined with a byte by exclusive or that is neither
            0x00 nor 0xFF.
    """
    if cut.key is not None:
        keys = [cut.key] if rare is (cut.key not in _USUAL_KEYS) else []
    else:
        keys = _rare_keys(cut, displays) if rare else [*_USUAL_KEYS]
    for key in keys:
        keep_time()
        yield from _solve(cut, displays, key, keep_time)


def _solve(
    cut: Cut, displays: Sequence[Display], key: int, keep_time: Callable[[], None]
) -> Iterator[FormatSolution]:
    whole = [bytes(byte ^ key for byte in frame) for frame in cut.frames]
    check = checksums.find(whole, tail=cut.tail) if cut.varies else None
    behind = cut.tail + (checksums.width(check) if check is not None else 0)
    front = min(map(len, whole)) - behind if cut.varies else len(whole[0])
    frames = [frame[:front] for frame in whole]
    for digits in digits_in(frames, displays):
        keep_time()
        taken = _bytes_mask(front, [] if cut.length_at is None else [cut.length_at])
        if not cut.varies:
            check = checksums.find(frames, digits.mask)
            if check is not None:
                taken |= _bytes_mask(front, range(check.at, check.at + checksums.width(check)))
        if taken & digits.mask:
            continue
        solution = explain(frames, displays, digits, taken)
        if solution is None:
            continue
        table = {"kind": "bytes", **cut.table, **solution.tables.get("frame", {})}
        if check is not None:
            table["checksum"] = checksums.as_table(check)
        if key:
            table["xor"] = f"{key:02X}"
        yield solution._replace(tables={**solution.tables, "frame": table})


def _bytes_mask(length: int, places: Iterable[int]) -> int:
    return sum(0xFF << 8 * (length - 1 - at) for at in places)


def _rare_keys(cut: Cut, displays: Sequence[Display]) -> list[int]:
    """Return the bytes that all may have been combined with, such that digits could be in them.

    Worked out from the last two digits of each display, or for segments from all, as trying every
    byte takes far too long.
    """
    shown = [(f, d) for f, d in zip(cut.frames, displays, strict=True) if not d.over]
    frames = [frame for frame, _ in shown]
    ones, tens = ([int(d.digits.rjust(2, "0")[-n]) for _, d in shown] for n in (1, 2))
    values = [int(display.digits) for _, display in shown]
    signed = [-v if d.negative else v for v, (_, d) in zip(values, shown, strict=True)]
    whole = [[0x30 + digit for digit in ones], *([v & 0xFF for v in vs] for vs in (values, signed))]
    found: list[int] = []
    highs, lows = set[int](), set[int]()
    for at in range(min(map(len, frames), default=0)):
        column = [frame[at] for frame in frames]
        for wanted in whole:
            found += _alike(column, wanted)
        for digits in (ones, tens):
            highs.update(_alike([byte >> 4 for byte in column], digits))
            lows.update(_alike([byte & 0xF for byte in column], digits))
    found += _segment_keys(cut.frames, displays)
    found += [high << 4 | low for high in sorted(highs) for low in sorted(lows)]
    return [key for key in dict.fromkeys(found) if key not in _USUAL_KEYS]


def _alike(column: list[int], wanted: list[int]) -> set[int]:
    """Return what makes ``wanted`` of ``column`` by exclusive or, where that is one value."""
    keys = {one ^ other for one, other in zip(column, wanted, strict=True)}
    return keys if len(keys) == 1 else set()


def digits_in(frames: Frames, displays: Sequence[Display]) -> Iterator[FoundDigits]:
    """Yield every way in which the frames hold the digits that were shown."""
    most = max((len(display.digits) for display in displays if not display.over), default=0)
    if not most:
        return
    yield from _characters(frames, displays, most, nibbles=False)
    yield from _segments(frames, displays, most)
    yield from _characters(frames, displays, most, nibbles=True)
    yield from _counts(frames, displays)


def shows(frame: bytes, display: Display) -> bool:
    """Whether ``frame`` holds the digits of one display in a row, which is hardly an accident."""
    if display.over:
        return False
    both, most = ([frame], [display]), len(display.digits)
    return any(
        next(ways, None) is not None
        for ways in (
            _characters(*both, most, nibbles=False, scattered=False),
            _characters(*both, most, nibbles=True, scattered=False),
            _counts(*both),
        )
    )


def _wanted(display: Display, most: int) -> list[str]:
    """The digits that a display shows, a space where it may be blank or a zero."""
    return list(display.digits.rjust(most))


def _characters(
    frames: Frames,
    displays: Sequence[Display],
    most: int,
    *,
    nibbles: bool,
    scattered: bool = True,
) -> Iterator[FoundDigits]:
    """Digits that are a byte or a half byte each; ``scattered``: in any order too."""
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
    for at in _in_a_row(ways, scattered=scattered):
        blanks = {
            row[place]
            for row, text in shown
            for place, c in zip(at, text, strict=True)
            if c == " " and row[place] != base
        }
        if len(blanks) > 1:
            continue
        yield _character_digits(rows, at, width, blanks, nibbles=nibbles)


def _in_a_row(ways: list[list[int]], *, scattered: bool) -> Iterator[tuple[int, ...]]:
    """Places that follow one another first, then evenly spaced ones, then any if they are few."""
    for step in (1, 2, -1, -2):
        for first in ways[0]:
            places = tuple(first + step * n for n in range(len(ways)))
            if all(place in way for place, way in zip(places, ways, strict=True)):
                yield places
    total = 1
    for way in ways:
        total *= len(way)
    if scattered and 0 < total <= 16:
        for places in product(*ways):
            steps = {b - a for a, b in pairwise(places)}
            if len(set(places)) == len(places) and len(steps) > 1:
                yield places


def _character_digits(
    rows: list[list[int]], at: tuple[int, ...], width: int, blanks: set[int], *, nibbles: bool
) -> FoundDigits:
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
    return FoundDigits(table, mask, tuple(texts))


class _Columns:
    """Each bit of the frames over all displays, as one whole number with a bit for each display.

    So whether a bit is a segment of a digit is one comparison for all displays together.
    """

    def __init__(self, frames: Frames, displays: Sequence[Display], most: int) -> None:
        self.size = 8 * min(map(len, frames))
        kept = [(f, d) for f, d in zip(frames, displays, strict=True) if not d.over]
        self._all = (1 << len(kept)) - 1
        self._columns = [
            sum((frame[bit // 8] >> 7 - bit % 8 & 1) << n for n, (frame, _) in enumerate(kept))
            for bit in range(self.size)
        ]
        texts = [_wanted(display, most) for _, display in kept]
        self._wanted = {
            segment: [
                (_where(texts, place, segment, lit=True), _where(texts, place, segment, lit=False))
                for place in range(most)
            ]
            for segment in SEGMENTS
        }

    def fits(self, segment: str, bit: int, stride: int, *, inverted: bool = False) -> bool:
        """Whether ``bit``, from the left, is ``segment`` of the first digit, and so on."""
        varies = 0
        for place, (lit, dark) in enumerate(self._wanted[segment]):
            at = bit + stride * place
            if not 0 <= at < self.size:
                return False
            column = self._columns[at] ^ (self._all if inverted else 0)
            if lit & ~column or dark & column:
                return False
            varies |= (1 if column else 0) | (2 if column != self._all else 0)
        return varies == 3


def _where(texts: list[list[str]], place: int, segment: str, *, lit: bool) -> int:
    """Return the displays whose digit must have ``segment`` lit, or dark."""
    found = 0
    for n, text in enumerate(texts):
        character = text[place]
        ways = DIGITS["0" if character == " " else character]
        may = {segment in way for way in ways} | ({False} if character == " " else set())
        found |= (may == {lit}) << n
    return found


def _segments(frames: Frames, displays: Sequence[Display], most: int) -> Iterator[FoundDigits]:
    """Seven-segment digits, each laid out as its neighbour is."""
    columns = _Columns(frames, displays, most)
    numbers = [int.from_bytes(frame) for frame in frames]
    for stride in _STRIDES:
        found: dict[str, int] = {}
        for segment in SEGMENTS:
            fits = (bit for bit in range(columns.size) if columns.fits(segment, bit, stride))
            first = next((bit for bit in fits if bit not in found.values()), None)
            if first is None:
                break
            found[segment] = first
        if len(found) == len(SEGMENTS):
            yield _segment_digits(numbers, found, stride, most, columns.size)


def _segment_keys(frames: Frames, displays: Sequence[Display]) -> Iterator[int]:
    """Yield the bytes with which every segment of the digits has its bit, upright or inverted."""
    most = max((len(display.digits) for display in displays if not display.over), default=0)
    columns = _Columns(frames, displays, most)
    for stride in _STRIDES:
        if stride % 8:
            continue
        ways = [
            [
                (7 - bit % 8, inverted)
                for bit in range(columns.size)
                for inverted in (False, True)
                if columns.fits(segment, bit, stride, inverted=inverted)
            ]
            for segment in SEGMENTS
        ]
        if not all(ways) or prod(map(len, ways)) > _MOST_KEYS:
            continue
        for chosen in product(*ways):
            known = dict(chosen)
            if len(known) < len(SEGMENTS):
                continue  # two segments in one bit
            key = sum(inverted << bit for bit, inverted in chosen)
            (spare,) = set(range(8)) - set(known)
            yield key
            yield key | 1 << spare


def _segment_digits(
    numbers: list[int], found: dict[str, int], stride: int, most: int, size: int
) -> FoundDigits:
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
    return FoundDigits(table, mask, tuple(texts))


def _counts(frames: Frames, displays: Sequence[Display]) -> Iterator[FoundDigits]:
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


def _count_digits(frames: Frames, at: tuple[int, ...], *, signed: bool) -> FoundDigits:
    values = [int.from_bytes(bytes(frame[p] for p in at), signed=signed) for frame in frames]
    mask = sum(0xFF << 8 * (len(frames[0]) - 1 - place) for place in at)
    table: dict[str, Any] = {"at": list(at)}
    if signed:
        table["signed"] = True
    return FoundDigits(table, mask, tuple(map(str, values)), signed)


def _nibbles(frame: bytes) -> list[int]:
    return [half for byte in frame for half in (byte >> 4, byte & 15)]


def _half(place: int) -> str:
    return f"{place // 2}.{'low' if place % 2 else 'high'}"
