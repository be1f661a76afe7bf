"""Records as tables: a row for each reading, or for each hold and verdict."""

from collections.abc import Iterable, Iterator
from pathlib import Path

import msgspec

from captures.record.reader import read_capture
from meterlink.events import Event, Held, Judged, Lift, StepBegan
from meterlink.reading import Reading


class ReadingRow(msgspec.Struct, frozen=True, gc=False):
    """One reading. The first columns are those of a plain readings file."""

    t_s: float
    value: float
    """SI units; infinite for an over range, not-a-number where the meter sent that."""
    unit: str
    overload: bool
    resolution: float | None
    quantity: str
    raw: str
    capture: str
    """Name of the capture's file."""
    record: str
    """``whole``, ``open``, ``cut`` or ``altered``: what a check of the capture found."""
    after_damage: bool
    """It stands at or after the line where an altered capture is damaged."""


class HoldRow(msgspec.Struct, kw_only=True):
    """One hold, or an open that was judged without one. Empty is None throughout."""

    capture: str
    step: str | None = None
    position: str | None = None
    """Of a switch."""
    contact_t_s: float
    t_s: float
    """When it was held, or judged."""
    lift_t_s: float | None = None
    value: float | None
    """As read, steadied."""
    unit: str
    readings: int
    noise: float
    resolution: float
    corrected: float | None = None
    u: float | None = None
    """Expanded, 95 %."""
    verdict: str | None = None
    probability: float | None = None
    clear: bool | None = None
    evidence: str | None = None
    """How it is known that the probes touched, where the verdict is open."""
    record: str = ""
    """As for a reading."""
    after_damage: bool = False


def reading_rows(
    path: Path, record: str = "", first_bad_line: int | None = None
) -> Iterator[ReadingRow]:
    """Yield a row for every reading of a capture, oldest first.

    ``record`` and ``first_bad_line`` are what a check of the capture found.

    Raises:
        UnreadableError: it is no capture.
    """
    name = path.name
    with read_capture(path) as capture:
        for found in capture:
            if isinstance(found, Reading):
                yield ReadingRow(
                    found.t,
                    found.value,
                    found.quantity.unit,
                    found.overload,
                    found.resolution,
                    found.quantity.value,
                    found.raw,
                    name,
                    record,
                    first_bad_line is not None and capture.line >= first_bad_line,
                )


def hold_rows(path: Path, record: str = "", first_bad_line: int | None = None) -> Iterator[HoldRow]:
    """Yield a row for every hold and verdict of a capture, in the order of their touches.

    ``record`` and ``first_bad_line`` are what a check of the capture found.

    Raises:
        UnreadableError: it is no capture.
    """
    with read_capture(path) as capture:
        events = (found for found in capture if isinstance(found, Event))
        for row in join_holds(events, path.name):
            row.record = record
            row.after_damage = first_bad_line is not None and capture.line >= first_bad_line
            yield row


def join_holds(events: Iterable[Event], capture: str) -> Iterator[HoldRow]:
    """Bring hold, verdicts and lift of one touch together; rows wait until their touch ends."""
    step: str | None = None
    waiting: list[HoldRow] = []
    for event in events:
        match event:
            case StepBegan():
                step = event.step
            case Held():
                waiting.append(_held(event, capture, step))
            case Judged():
                _judge(event, capture, waiting)
            case Lift():
                for row in waiting:
                    if row.contact_t_s == event.contact_t:
                        row.lift_t_s = event.t
                yield from waiting
                waiting = []
    yield from waiting


def _held(event: Held, capture: str, step: str | None) -> HoldRow:
    return HoldRow(
        capture=capture,
        step=step,
        contact_t_s=event.contact_t,
        t_s=event.t,
        value=event.value,
        unit=event.unit,
        readings=event.readings,
        noise=event.noise,
        resolution=event.resolution,
    )


def _judge(event: Judged, capture: str, waiting: list[HoldRow]) -> None:
    """Give the verdict to the hold that it is about; an open has none and gets its own row."""
    for row in reversed(waiting):
        about = row.contact_t_s == event.contact_t and row.value == event.value
        if about and row.verdict is None:
            break
    else:
        row = HoldRow(
            capture=capture,
            contact_t_s=event.contact_t,
            t_s=event.t,
            value=event.value,
            unit=event.unit,
            readings=event.readings,
            noise=event.noise,
            resolution=event.resolution,
        )
        waiting.append(row)
    row.step, row.position = event.step, event.position or None
    row.corrected, row.u = event.corrected, event.u
    row.verdict, row.probability, row.clear = event.verdict.value, event.probability, event.clear
    row.evidence = None if event.evidence is None else event.evidence.value
