"""What a report says, before any of it is put into words or drawn."""

from dataclasses import dataclass, field
from pathlib import Path

from captures.job.meter_checks import RecordedCheck
from captures.job.verify_job import JobPart
from captures.record.records import Attached, Header
from meterlink.card.card import Card, Step
from meterlink.events import Entered, Judged, MeterChecked, SoakPoint, StepEnded, Zeroed
from meterlink.finding.finding import Finding
from meterlink.judging.criterion import Criterion


@dataclass
class CheckRow:
    """One row of a card: a step, or one position of a switch."""

    step: Step
    position: str = ""
    judged: Judged | None = None
    criterion: Criterion | None = None
    """What it was judged by; None where the job does not hold its profile."""
    meter: MeterChecked | None = None
    zeroed: Zeroed | None = None
    entered: Entered | None = None
    size: tuple[float, float, str] | None = None
    """Lowest, highest and SI unit that a gap or torque may have, by the profile."""
    dropouts: int = 0
    longest_dropout_s: float = 0.0
    soak: list[SoakPoint] = field(default_factory=list)
    """The first point of a soak and the newest."""
    ended: StepEnded | None = None
    at: str = ""
    """RFC 3339 time of the verdict, else of the end of the step."""
    again: list[str] = field(default_factory=list)
    """Why the step was opened again, one text for each time."""
    good: bool | None = None
    """It is as hoped for; None where it says neither."""


@dataclass
class CardFacts:
    """One work card of the job."""

    card: Card
    profile_name: str
    checks: list[CheckRow] = field(default_factory=list)
    ended: bool = False
    signed_off: bool = False
    meter_failed: bool = False


@dataclass
class TouchFacts:
    """The readings of one touch that was held, thinned out where there are many."""

    capture: str
    step: str
    contact_t: float
    held_t: float
    held: float
    unit: str
    lift_t: float | None
    t: list[float]
    """Seconds since the start of the capture."""
    value: list[float]
    """SI units; infinite where over range."""


@dataclass
class JobFacts:
    """Everything that a report is made from."""

    folder: Path
    name: str
    title: str
    started: str
    last: str
    """RFC 3339 time of the newest entry."""
    program: str
    people: list[str]
    """Who is named in the log, in the order of appearance."""
    cards: list[CardFacts]
    finding: Finding | None
    """None where no card names a complaint."""
    signed_off: tuple[str, str] | None
    """When and by whom, where it was; the name may be empty."""
    simulated: bool
    """Some of its readings are of the simulated bench, not of an engine."""
    stop_check: bool | None
    """Whether the engine was seen to stop; None where that is not recorded."""
    headers: dict[str, Header]
    last_check: RecordedCheck | None
    """The newest check of this job's meter, in this job or an earlier one."""
    touches: list[TouchFacts]
    touches_left_out: int
    attachments: list[Attached]
    notes: list[tuple[str, str]]
    """Time and words of what was noted, gaps included."""
    parts: list[JobPart]
    """What a check of the seals found."""
