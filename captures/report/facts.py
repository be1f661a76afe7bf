"""What a report says, before any of it is put into words or drawn."""

from dataclasses import dataclass, field

from meterlink.card import Card, Step
from meterlink.events import Entered, Judged, StepEnded, Zeroed
from meterlink.judging.criterion import Criterion
from meterlink.profile import GapSetting, Torque
from meterlink.steps.step import StepState


@dataclass
class CheckRow:
    """One row of a card: a step, or one position of a switch."""

    step: Step
    position: str = ""
    judged: Judged | None = None
    criterion: Criterion | None = None
    """What it was judged by; None where the job does not hold its profile."""
    zeroed: Zeroed | None = None
    entered: Entered | None = None
    size: GapSetting | Torque | None = None
    """What a gap or torque may be, by the profile."""
    own: StepState = field(default_factory=StepState)
    """What the events of the step's own kind come to."""
    ended: StepEnded | None = None
    at: str = ""
    """RFC 3339 time of the verdict, else of the end of the step."""
    again: list[str] = field(default_factory=list)
    """Why the step was opened again, one text for each time."""
    good: bool | None = None
    """It is good; None where it is neither good nor bad."""


@dataclass
class CardFacts:
    """One work card of the job."""

    card: Card
    profile_name: str
    checks: list[CheckRow] = field(default_factory=list)
    left_out: str = ""
    """In one line, what the card asks for and the engine lacks."""
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
