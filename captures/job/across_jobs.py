"""What all jobs together say of meters, touches and repairs.

Checks of a meter against known resistors make a chart. Pairs of touches on the same points tell how
far a touch repeats: a repeat touch (with the leads swapped) is one, and so are two touches of one
step that agree, as a verdict against the part asks for them. What the two have in common, as meter
and leads, falls out of their difference; contact and thermal voltages do not.
"""

import contextlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Final

import msgspec
from msgspec.structs import replace

from captures.job.card_progress import FindCard, JobSettings, card_progress, finding_of
from captures.job.job import CAPTURES_FOLDER, Job, LogEntry
from captures.job.store import JobStore
from captures.job.verify_job import check_job
from captures.record.files import open_regular
from captures.record.reader import read_capture
from captures.record.records import CaptureBegan
from captures.record.verify import State
from meterlink.errors import MeterlinkError, UnreadableError
from meterlink.events import CardBegan, StepReopened
from meterlink.judging.control_chart import LEAST, ControlChart, control_chart
from meterlink.source import Identity
from meterlink.steps.meter_check import MeterChecked

BASE: Final = 20
"""Where there are more checks than this, the first so many set centre and limits of the chart."""

_KIND: Final = b'"meter-checked"'


class RecordedCheck(msgspec.Struct, frozen=True, kw_only=True):
    """One check that stands, with where and when it was done."""

    meter: str
    """What the meter says it is; empty where the capture is gone."""
    at: str
    """RFC 3339 wall time; empty where the log has none."""
    job: str
    checked: MeterChecked
    record: str = ""
    """``whole``, ``open``, ``cut`` or ``altered``: what a check of the job found."""


class Series(msgspec.Struct, frozen=True, kw_only=True):
    """All checks of one meter on one resistor, oldest first.

    A resistor's own error is in all of them alike, so only checks on the same one make a chart;
    resistors with the same marking are taken for the same, unless they have names of their own.
    """

    meter: str
    marking: str
    checks: tuple[RecordedCheck, ...]

    @property
    def values(self) -> tuple[float, ...]:
        """The errors, each over the marked value."""
        return tuple(record.checked.error / record.checked.ohms for record in self.checks)

    @property
    def chart(self) -> ControlChart | None:
        """Centre, limits and what stands out; None while there are too few checks."""
        values = self.values
        step = max((one.checked.resolution / one.checked.ohms for one in self.checks), default=0.0)
        return control_chart(values, max(LEAST, min(BASE, len(values))), step)


def gather(jobs: Iterable[Job]) -> list[Series]:
    """Return every meter's checks, the meters and resistors in the order of their names.

    Raises:
        UnreadableError: the folder of jobs cannot be read. A job that cannot is passed over.
    """
    found: dict[tuple[str, str], list[RecordedCheck]] = {}
    for job in jobs:
        try:
            for record in _marked(job):
                marking = " ".join(record.checked.marking.lower().split())
                found.setdefault((record.meter, marking), []).append(record)
        except UnreadableError:
            continue  # “meterlink verify” names it
    return [
        Series(meter=meter, marking=marking, checks=tuple(sorted(records, key=lambda r: r.at)))
        for (meter, marking), records in sorted(found.items())
    ]


def _marked(job: Job) -> Iterator[RecordedCheck]:
    """Yield the checks of one job, each with the state that the job's record is in."""
    found = list(checks_in(job))
    if found:
        state = check_job(job).state.value
        yield from (replace(record, record=state) for record in found)


def checks_in(job: Job) -> Iterator[RecordedCheck]:
    """Yield the checks of one job that stand: of several in one step the last.

    Raises:
        UnreadableError: its log cannot be read.
    """
    if not _mentions_a_check(job.log_path):
        return
    standing = StandingChecks(job.name, lambda file: _meter_of(job, file))
    for entry in job.entries():
        standing.take(entry)
    yield from standing.checks


class StandingChecks:
    """Follows the log of one job; of several checks in one step the last stands."""

    def __init__(self, job: str, meter_of: Callable[[str], str]) -> None:
        """``meter_of``: says which meter a capture is of, by its path in the job's folder."""
        self._job = job
        self._meter_of = meter_of
        self._meter = self._card = ""
        self._standing: dict[tuple[str, str], RecordedCheck] = {}

    @property
    def checks(self) -> list[RecordedCheck]:
        """The checks that stand, in the order of their steps' first ones."""
        return list(self._standing.values())

    def take(self, entry: LogEntry) -> None:
        """Take one entry of the log."""
        match entry.event:
            case CaptureBegan(file=file):
                self._meter = self._meter_of(file)
            case CardBegan(card=card):
                self._card = card
            case StepReopened(step=step):
                self._standing.pop((self._card, step), None)
            case MeterChecked() as checked:
                self._standing[self._card, checked.step] = RecordedCheck(
                    meter=self._meter, at=entry.at, job=self._job, checked=checked
                )


def _mentions_a_check(log: Path) -> bool:
    """Most jobs have none, and ten thousand logs are quicker looked through than decoded."""
    try:
        with open_regular(log) as file:
            lines: Iterable[bytes] = file
            return any(_KIND in line for line in lines)
    except OSError as fault:
        raise UnreadableError(f"{log.name} cannot be read: {fault.strerror}") from fault


def _meter_of(job: Job, file: str) -> str:
    # Only the name: a log from elsewhere could point anywhere.
    try:
        with read_capture(job.folder / CAPTURES_FOLDER / Path(file).name) as capture:
            meter = capture.header.meter
    except UnreadableError:
        return ""
    return meter_named(meter)


def meter_named(meter: Identity | None) -> str:
    """Return what a capture's header says that its meter is."""
    return str(meter or Identity())


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
            continue  # “meterlink verify” names it


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


def confirmed_repairs(jobs: Iterable[Job], shelved: FindCard) -> dict[str, Counter[str]]:
    """Return how many jobs ended with a confirmed repair, by complaint and fault; no names.

    Counted are whole records of jobs that were signed off after a mend with which the engine
    starts and stops; for each place that was put right the fault that the checks make likeliest.
    """
    counts: dict[str, Counter[str]] = {}
    for job in jobs:
        with contextlib.suppress(MeterlinkError):  # one that cannot be read tells nothing
            if check_job(job).state is not State.WHOLE:
                continue
            settings = JobSettings.read(job)
            stands = list(card_progress(job, settings, shelved))
            found = finding_of(stands, settings.profiles.values())
            if found is None or not found.closed or not any(p.signed_off for p in stands):
                continue
            likeliest = {fault.place: fault.fault for fault in reversed(found.faults)}
            repaired = (likeliest[place] for place in found.mended if place in likeliest)
            counts.setdefault(found.complaint, Counter()).update(repaired)
    return counts
