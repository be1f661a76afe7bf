"""Where the frames of an unknown format begin and end, in what came at each display. No I/O.

A display that stands still is sent over and over, so the bytes come again after one frame's length.
Where pauses between frames are known, they tell the rest; else every beginning is tried, the
likeliest first. Frames whose length differs from display to display tell it themselves: by a byte,
or by what ends them.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any, Final, NamedTuple

from drivers.frames import checksums
from drivers.frames.recordings import Recording

_SHORTEST: Final = 3
_LONGEST: Final = 48
_AGAIN: Final = 0.75
"""Share of the bytes that come again after one frame's length; noise may spoil the others."""
_LENGTH_AT: Final = range(9)
_LENGTH_ADDS: Final = range(-8, 33)
"""Where a byte that tells the length may stand, and what may be added to it, as descriptions
have it."""
_MARGIN: Final = 4
"""Bytes by which a frame of variable length may be longer than any that was recorded."""


class Cut(NamedTuple):
    """One way to cut what came into frames."""

    frames: tuple[bytes, ...]
    """The whole frame at each display."""
    table: dict[str, Any]
    """What ``[frame]`` says of the length."""
    varies: bool = False
    tail: int = 0
    """Bytes at the end of a frame of variable length that only mark its end."""
    length_at: int | None = None
    """The byte that tells the length."""
    key: int | None = None
    """What each byte was combined with, where that is settled already."""


def cuts(recordings: Sequence[Recording]) -> Iterator[Cut]:
    """Yield the ways to cut ``recordings``, the likeliest first."""
    for length in _lengths(recordings):
        for whole in sorted(_aligned(recordings, length), key=_unlike_frames):
            yield Cut(tuple(whole), {"length": length})
    yield from _variable(recordings)


def _unlike_frames(frames: Sequence[bytes]) -> tuple[bool, bool]:
    """Say how little ``frames`` are like whole ones: no checksum, no mark at their beginning.

    Begun in the middle, a checksum may pass for something that a display shows.
    """
    inverted = [bytes(byte ^ 0xFF for byte in frame) for frame in frames]
    found = checksums.find(frames) or checksums.find(inverted)
    sound = found is not None and (found.kind == "crc" or not found.start)
    return not sound, len({frame[0] for frame in frames}) > 1


def counts_its_bytes(frame: bytes) -> bool:
    """Whether the upper half of each byte counts on from the byte before, beginning at 0 or 1."""
    first = frame[0] >> 4
    return first in (0, 1) and all(byte >> 4 == first + n for n, byte in enumerate(frame))


def usual_frame(recording: Recording) -> bytes | None:
    """Return a frame of the likeliest length; None where nothing comes again."""
    lengths = _lengths([recording])
    if not lengths:
        return None
    return _usual(recording, lengths[-1], _starts([recording], lengths[-1])[0])


def _lengths(recordings: Sequence[Recording]) -> list[int]:
    """Return the lengths that frames may have: those after which the bytes come again."""
    found = []
    for length in range(_SHORTEST, _LONGEST + 1):
        again = total = 0
        for recording in recordings:
            data = b"".join(recording.bursts)
            total += max(0, len(data) - length)
            again += sum(a == b for a, b in zip(data, data[length:], strict=False))
        if total and again / total > _AGAIN:
            found.append(length)
    # A multiple of one that fits says no more than that one.
    return [one for one in found if not any(one % less == 0 for less in found if less < one)]


def _starts(recordings: Sequence[Recording], length: int) -> list[int]:
    """Return where in the bytes frames begin, the likeliest first."""
    bursts = [burst for recording in recordings for burst in recording.bursts[1:-1]]
    if bursts and sum(len(burst) % length == 0 for burst in bursts) > 0.8 * len(bursts):
        return [-1]  # each burst is whole frames
    data = b"".join(recordings[0].bursts)

    def unlikely(start: int) -> tuple[int, int]:
        frame = data[start : start + length]
        ends = frame.endswith((b"\r\n", b"\r", b"\n"))
        return (0 if counts_its_bytes(frame) else 1 if ends else 2), start

    return sorted(range(min(length, max(1, len(data) - length))), key=unlikely)


def _usual(recording: Recording, length: int, start: int) -> bytes | None:
    """Return the frame that came most often."""
    if start < 0:
        cut = [
            burst[at : at + length]
            for burst in recording.bursts
            if len(burst) % length == 0
            for at in range(0, len(burst), length)
        ]
    else:
        data = b"".join(recording.bursts)
        cut = [data[at : at + length] for at in range(start, len(data) - length + 1, length)]
    return Counter(cut).most_common(1)[0][0] if cut else None


def _aligned(recordings: Sequence[Recording], length: int) -> Iterator[list[bytes]]:
    """Yield the frame at each display, all begun at the same place, the likeliest place first."""
    starts = _starts(recordings, length)
    if starts == [-1]:
        frames = [_usual(recording, length, -1) for recording in recordings]
        if None not in frames:
            yield [frame for frame in frames if frame is not None]
        return
    turned = [_rotations(recording, length) for recording in recordings]
    if not all(turned) or len(set(map(frozenset, turned))) == 1:
        return  # the same at every display: nothing of it is the value
    for start in starts:
        first = _usual(recordings[0], length, start)
        if first is not None:
            others = [max(ways, key=partial(_likeness, first)) for ways in turned[1:]]
            yield [first, *others]


def _rotations(recording: Recording, length: int) -> list[bytes]:
    """Return the usual frame, begun at each place in turn."""
    frames = (_usual(recording, length, at) for at in range(length))
    return [frame for frame in frames if frame is not None]


def _likeness(one: bytes, other: bytes) -> tuple[int, int]:
    """How many bytes, and bits, two frames have in common at the same place."""
    bits = sum((a ^ b).bit_count() for a, b in zip(one, other, strict=False))
    return sum(a == b for a, b in zip(one, other, strict=False)), -bits


def _variable(recordings: Sequence[Recording]) -> Iterator[Cut]:
    """Yield cuts into frames whose length differs from display to display."""
    turned = [_turned(recording) for recording in recordings]
    if not all(turned) or len({len(ways[0]) for ways in turned}) < 2:
        return
    # Where the frames are known by their pauses, any byte may have been combined with the length.
    rare = range(1, 0xFF) if len(turned[0]) == 1 else ()
    for first in turned[0]:
        for key in (0x00, 0xFF, *rare):
            for at in range(min(len(first), len(_LENGTH_AT))):
                adds = len(first) - (first[at] ^ key)
                if adds not in _LENGTH_ADDS:
                    continue
                told = [
                    [way for way in ways if (way[at] ^ key) + adds == len(way)]
                    for ways in turned
                    if at < len(ways[0])
                ]
                table: dict[str, Any] = {"length_byte": {"at": at, "adds": adds}}
                yield from _matched(first, told, len(turned), table, length_at=at, key=key)
    for first in turned[0]:
        for size in (2, 1):
            end = first[-size:]
            told = [[way for way in ways if way.find(end) == len(way) - size] for ways in turned]
            table = {"end": end.hex(" ").upper()}
            yield from _matched(first, told, len(turned), table, tail=size)


def _turned(recording: Recording) -> list[bytes]:
    """Return one frame, as it came where pauses tell, else begun at each place in turn."""
    whole = Counter(recording.bursts[1:-1]).most_common(1)
    if whole and whole[0][1] > 1 and _SHORTEST <= len(whole[0][0]) <= _LONGEST:
        return [whole[0][0]]
    lengths = _lengths([recording])
    return _rotations(recording, lengths[0]) if lengths else []


def _matched(
    first: bytes,
    told: list[list[bytes]],
    count: int,
    table: dict[str, Any],
    *,
    tail: int = 0,
    length_at: int | None = None,
    key: int | None = None,
) -> Iterator[Cut]:
    """Yield the cut in which every display's frame is most like ``first``; none where one fails."""
    alike = [[way for way in ways if way[0] == first[0]] for ways in told]
    if len(alike) < count or not all(alike):
        return
    frames = tuple(max(ways, key=partial(_likeness, first)) for ways in alike)
    lengths = [len(frame) for frame in frames]
    bounds = {"length": min(64, max(lengths) + _MARGIN), "shortest": min(lengths)}
    yield Cut(frames, bounds | table, True, tail, length_at, key)
