"""Small records for the tests of this folder, made by the real writer."""

import math
from datetime import UTC, datetime
from pathlib import Path

from captures.record.records import PROGRAM, Header
from captures.record.writer import RecordWriter
from meterlink.events import Contact, Event, Held, Lift, Note
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity

START = datetime(2026, 11, 3, 9, 14, tzinfo=UTC)

HEADER = Header(
    started="2026-11-03T09:14:00.000+00:00",
    program=PROGRAM,
    meter=Identity(maker="Workshop", model="Bench 1", serial="0007", port="TCPIP::x::SOCKET"),
    profile="pump-set",
    step="primary",
)

SMALL: list[Reading | Event] = [
    Reading(0.0, math.inf, overload=True, raw="+9.90000000E+37"),
    Reading(0.1, 0.8421, resolution=1e-4, raw="+8.42100000E-01"),
    Contact(t=0.1),
    Reading(0.2, math.nan, raw="+9.91000000E+37"),
    Reading(0.3, -0.0, Quantity.VOLTAGE),
    Held(
        t=0.3,
        contact_t=0.1,
        value=0.1 + 0.2,
        readings=2,
        noise=math.nan,
        resolution=1e-4,
        u=5e-324,
        dof=math.inf,
    ),
    Lift(t=0.4, contact_t=0.1, held=True),
    Note(t=0.5, text='кабель \N{OHM SIGN} "quoted"\nand \x00 more', who="[b]Ä[/b]"),
]


def write(path: Path, records: list[Reading | Event]) -> Path:
    """Write a capture with ``records`` and close it."""
    with RecordWriter.create(path, HEADER) as writer:
        for record in records:
            writer.append(record)
    return path


def many(count: int) -> list[Reading | Event]:
    """Return ``count`` readings, ten a second."""
    return [Reading(i / 10, 0.84 + (i % 7) * 1e-4, resolution=1e-4) for i in range(count)]


def same(one: object, other: object) -> bool:
    """Whether two records are equal, not-a-number and the sign of zero included."""
    return repr(one) == repr(other)
