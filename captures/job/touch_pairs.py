"""Pairs of touches on the same points, gathered from all jobs: how far a touch repeats.

A repeat touch (the same points with the leads swapped) is one pair. So are two touches of one
step that agree, as a verdict against the part asks for them. What the two have in common, as
meter and leads, falls out of their difference; contact and thermal voltages do not.
"""

from collections.abc import Iterator
from typing import Final

import msgspec

from captures.job.job import Job
from captures.job.store import JobStore
from captures.record.reader import open_regular
from meterlink.errors import UnreadableError

LOW_OHMS: Final = 100.0
"""Contact and thermal voltages matter below; a pair above says nothing of them."""

_KINDS: Final = (b'"repeated"', b'"repeat":"agrees"')


class TouchPair(msgspec.Struct, frozen=True, kw_only=True):
    """Two touches of the same points."""

    job: str
    step: str
    first: float
    second: float
    """As read, ohms."""
    within: float
    """Standard deviation of one reading within the second touch, ohms; 0 where it is not told."""
    swapped: bool
    """With the leads swapped in between."""


class _Line(msgspec.Struct):
    """The few keys that matter here, whatever kind of record it is."""

    kind: str = ""
    step: str = ""
    value: float | None = None
    noise: float = 0.0
    repeat: str = ""
    first: float | None = None
    second: float | None = None


_LINE: Final = msgspec.json.Decoder(_Line)


def pairs(store: JobStore) -> Iterator[TouchPair]:
    """Yield every pair below 100 ohm; a job that cannot be read is passed over.

    Raises:
        UnreadableError: the folder of jobs cannot be read.
    """
    for job in store.jobs():
        try:
            yield from pairs_in(job)
        except UnreadableError:
            continue  # «meterlink verify» names it


def pairs_in(job: Job) -> Iterator[TouchPair]:
    """Yield the pairs of one job, oldest first.

    Raises:
        UnreadableError: its log cannot be read.
    """
    try:
        with open_regular(job.log_path) as file:
            lines = [line for line in file if b'"verdict"' in line or b'"repeated"' in line]
    except OSError as fault:
        raise UnreadableError(f"{job.log_path.name} cannot be read: {fault.strerror}") from fault
    if not any(kind in line for line in lines for kind in _KINDS):
        return
    before: dict[str, float] = {}
    for line in lines:
        try:
            said = _LINE.decode(line)
        except msgspec.DecodeError:
            continue
        if said.kind == "repeated":
            first, second = said.first, said.second
        elif said.kind == "verdict" and said.value is not None:
            first = before.get(said.step) if said.repeat == "agrees" else None
            before[said.step] = second = said.value
        else:
            continue
        if first is None or second is None or max(abs(first), abs(second)) >= LOW_OHMS:
            continue
        yield TouchPair(
            job=job.name,
            step=said.step,
            first=first,
            second=second,
            within=said.noise,
            swapped=said.kind == "repeated",
        )
