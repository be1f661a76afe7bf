"""A description for an unknown meter, from recorded bytes and what its display showed. No I/O.

What comes out is checked by the same decoder that will read the meter: every display must be read
as it was typed, or nothing comes out.
"""

import math
import time
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from itertools import islice
from typing import Any, Final, NamedTuple

import msgspec
import tomli_w

from drivers.frames.description import Description
from drivers.frames.frame_format import FrameFormat
from drivers.frames.recordings import Display, Recording, parse_display
from drivers.frames.store import faults
from drivers.frames.unknown_digits import solve
from drivers.frames.unknown_frames import cuts
from drivers.frames.unknown_lines import solve_lines, usual_line
from drivers.links.link import LineSettings
from meterlink.errors import FaultFoundError, MeterlinkError

LEAST: Final = 3
"""Displays below which nothing is tried."""
BUDGET_S: Final = 20.0
"""Longest time that is looked for a format, seconds."""
_ENOUGH_TRIES: Final = 400
"""Ways to read one cut that are held against the displays: many that fit so few fit nothing."""


_UNSURE: Final = (
    "Where a frame begins was taken from the bytes alone, as no pauses between frames were seen. "
    "Show two more displays, and compare what is read with them."
)


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
    budget_s: float = BUDGET_S,
) -> Learnt:
    """Work out the format, what is likeliest first.

    Args:
        recordings: one for each display.
        name: what the description is to be called.
        line: settings that the bytes were heard with.
        rate_hz: readings a second.
        command: what the meter was asked with, where it only answers.
        budget_s: longest time to take, seconds.

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
    until = time.monotonic() + budget_s

    def keep_time() -> None:
        if time.monotonic() > until:
            raise FaultFoundError(
                f"nothing that explains all displays was found within {budget_s:g} s; show others "
                "with many different digits, and wait until each stands still"
            )

    for tables, notes, samples in _candidates(recordings, displays, keep_time):
        keep_time()
        learnt = _made(head, tables, notes, samples, displays)
        if learnt is not None:
            return learnt
    raise FaultFoundError(
        "no format explains all displays; show others with many different digits, wait until each "
        "stands still, and check the speed"
    )


def _candidates(
    recordings: Sequence[Recording], displays: Sequence[Display], keep_time: Callable[[], None]
) -> Iterator[tuple[dict[str, Any], Sequence[str], list[dict[str, Any]]]]:
    lines = [usual_line(recording) for recording in recordings]
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
    ways = list(cuts(recordings))
    for rare in (False, True):
        for cut in ways:
            samples = [{"hex": frame.hex(" ").upper()} for frame in cut.frames]
            unsure = () if _begin_with_bursts(cut.frames, recordings) else (_UNSURE,)
            for solution in islice(solve(cut, displays, keep_time, rare=rare), _ENOUGH_TRIES):
                yield solution.tables, (*unsure, *solution.notes), samples


def _begin_with_bursts(frames: Sequence[bytes], recordings: Sequence[Recording]) -> bool:
    """Whether the pauses between bytes say that ``frames`` begin where they do."""
    return all(
        any(burst.startswith(frame) for burst in recording.bursts[1:-1])
        for frame, recording in zip(frames, recordings, strict=True)
    )


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
