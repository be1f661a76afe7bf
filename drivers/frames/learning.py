"""A description for an unknown meter, from recorded bytes and what its display showed. No I/O.

What comes out is checked by the same decoder that will read the meter: every display must be read
as it was typed, or nothing comes out.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any, Final, NamedTuple

import msgspec
import tomli_w

from drivers.frames.description import Description
from drivers.frames.frame_format import FrameFormat
from drivers.frames.recordings import Display, Recording, parse_display
from drivers.frames.store import faults
from drivers.frames.unknown_digits import digits_in, solve
from drivers.frames.unknown_lines import solve_lines
from drivers.links.link import LineSettings
from meterlink.errors import FaultFoundError, MeterlinkError

LEAST: Final = 3
"""Displays below which nothing is tried."""
_LONGEST: Final = 40
_ENOUGH_TRIES: Final = 400


class Learnt(NamedTuple):
    """A description, ready to be used."""

    toml: str
    wire: FrameFormat
    notes: tuple[str, ...]
    """What is not settled, and which display would settle it; plain sentences."""


def learn(
    recordings: Sequence[Recording],
    *,
    name: str = "my-meter",
    line: LineSettings | None = None,
    rate_hz: float = 3.0,
    command: str = "",
) -> Learnt:
    """Work out the format.

    Args:
        recordings: one for each display.
        name: what the description is to be called.
        line: settings that the bytes were heard with.
        rate_hz: readings a second.
        command: what the meter was asked with, where it only answers.

    Raises:
        NotationError: a display makes no sense.
        FaultFoundError: nothing explains them all; says what would help.
    """
    displays = [parse_display(recording.display) for recording in recordings]
    if len(displays) < LEAST:
        raise FaultFoundError(f"{len(displays)} displays are too few; show five that differ")
    if len({(d.digits, d.over, d.unit) for d in displays}) < LEAST:
        raise FaultFoundError("the displays are too much alike; show five that differ")
    head = _head(name, line, rate_hz, command)
    for tables, notes, samples in _candidates(recordings, displays):
        learnt = _made(head, tables, notes, samples, displays)
        if learnt is not None:
            return learnt
    raise FaultFoundError(
        "no format explains all displays; show others with many different digits, wait until each "
        "stands still, and check the speed"
    )


def plausibility(recording: Recording) -> int:
    """Say how much the bytes look like the display: 2 its digits are in them, 1 frames, 0 noise."""
    display = parse_display(recording.display)
    line = _usual_line(recording)
    if line is not None:
        shown = f"{int(display.digits or 0)}".lstrip("0")
        return 2 if shown and shown in line[0].replace(".", "").replace(",", "") else 1
    best = 0
    for length in _lengths([recording]):
        best = max(best, 1)
        frame = _usual_frame(recording, length, _starts([recording], length)[0])
        if frame is not None and next(digits_in([frame], [display]), None) is not None:
            return 2
    return best


def _candidates(
    recordings: Sequence[Recording], displays: Sequence[Display]
) -> Iterator[tuple[dict[str, Any], Sequence[str], list[dict[str, Any]]]]:
    lines = [_usual_line(recording) for recording in recordings]
    texts = [found for found in lines if found is not None]
    if len(texts) == len(lines):
        solved = solve_lines([text for text, _ in texts], displays)
        if solved is not None:
            tables, notes = solved
            end = texts[0][1]
            longest = max(len(text) for text, _ in texts)
            tables["frame"] = {
                "kind": "lines",
                "end": end,
                "longest": min(250, max(40, longest + 12)),
                "encoding": "utf-8",
            }
            yield tables, notes, [{"text": text} for text, _ in texts]
    for length in _lengths(recordings):
        for start in _starts(recordings, length):
            whole = _aligned(recordings, length, start)
            if whole is None:
                continue
            for tries, solution in enumerate(solve(whole, displays)):
                if tries > _ENOUGH_TRIES:
                    break
                yield (
                    solution.tables,
                    solution.notes,
                    [{"hex": frame.hex(" ").upper()} for frame in whole],
                )


def _usual_line(recording: Recording) -> tuple[str, str] | None:
    """Return the line that came most often, and what ends it; None where it is no text."""
    data = b"".join(recording.bursts)
    if not any(end in data for end in (b"\n", b"\r")):
        return None
    end = "\r\n" if b"\r\n" in data else "\n" if b"\n" in data else "\r"
    counted = Counter(part for part in data.replace(b"\r", b"\n").split(b"\n") if part)
    try:
        text = counted.most_common(1)[0][0].decode("utf-8")
    except (UnicodeDecodeError, IndexError):
        return None
    return (text, end) if text.isprintable() else None


def _lengths(recordings: Sequence[Recording]) -> list[int]:
    """Return the lengths that frames may have: those after which the bytes come again."""
    found = []
    for length in range(3, _LONGEST + 1):
        again = total = 0
        for recording in recordings:
            data = b"".join(recording.bursts)
            total += max(0, len(data) - length)
            again += sum(a == b for a, b in zip(data, data[length:], strict=False))
        if total and again / total > 0.75:
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
        counts = all((frame[n] >> 4) == (frame[0] >> 4) + n for n in range(length))
        ends = frame.endswith((b"\r\n", b"\r", b"\n"))
        return (0 if counts and frame[0] >> 4 in (0, 1) else 1 if ends else 2), start

    return sorted(range(min(length, max(1, len(data) - length))), key=unlikely)


def _usual_frame(recording: Recording, length: int, start: int) -> bytes | None:
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


def _aligned(recordings: Sequence[Recording], length: int, start: int) -> list[bytes] | None:
    """Return the frame at each display, all begun at the same place; None where one has none."""
    first = _usual_frame(recordings[0], length, start)
    if first is None or start < 0:
        frames = [_usual_frame(recording, length, start) for recording in recordings]
        return [f for f in frames if f is not None] if None not in frames else None
    found = [first]
    for recording in recordings[1:]:
        turned = [_usual_frame(recording, length, at) for at in range(length)]
        ways = [frame for frame in turned if frame is not None]
        if not ways:
            return None
        found.append(max(ways, key=lambda frame: _likeness(frame, first)))
    return found


def _likeness(one: bytes, other: bytes) -> tuple[int, int]:
    """How many bytes, and bits, two frames have in common at the same place."""
    bits = sum((a ^ b).bit_count() for a, b in zip(one, other, strict=True))
    return sum(a == b for a, b in zip(one, other, strict=True)), -bits


def _head(name: str, line: LineSettings | None, rate_hz: float, command: str) -> dict[str, Any]:
    default = msgspec.to_builtins(LineSettings())
    told = msgspec.to_builtins(line or LineSettings())
    head: dict[str, Any] = {
        "format": 1,
        "name": name,
        "title": f"{name}: worked out from its own display",
        "facts": "measured",
        "source": "Worked out by the program from recorded bytes and the displays in the samples.",
        "line": {k: v for k, v in told.items() if k == "baud" or v != default[k]},
        "rate": {"slowest_hz": max(0.1, rate_hz / 2), "usual_hz": rate_hz},
    }
    if command:
        head["poll"] = {"command": command}
    return head


def _made(
    head: dict[str, Any],
    tables: dict[str, Any],
    notes: Sequence[str],
    samples: list[dict[str, Any]],
    displays: Sequence[Display],
) -> Learnt | None:
    """Return the description, if it reads every display as it was typed."""
    told = [{**sample, **_said(display)} for sample, display in zip(samples, displays, strict=True)]
    for sample, display in zip(told, displays, strict=True):
        if display.flags:
            sample["flags"] = sorted(display.flags & set(tables.get("flags", {})))
        else:
            sample.pop("flags", None)
    whole = {**head, **tables, "samples": told}
    toml = tomli_w.dumps(whole)
    try:
        description = msgspec.toml.decode(toml.encode(), type=Description)
        wire = FrameFormat(description, own=True)
        if next(faults(wire), None) is not None:
            return None
    except (MeterlinkError, msgspec.ValidationError):
        return None
    return Learnt(toml, wire, tuple(notes))


def _said(display: Display) -> dict[str, Any]:
    if display.over:
        return {"overload": True}
    value = Decimal(display.digits).scaleb(-display.decimals) * display.factor
    exact = float(-value if display.negative else value)
    return {"value": math.copysign(exact, -1) if display.negative else exact} | {
        "quantity": display.quantity.value
    }
