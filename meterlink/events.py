"""What happens on the bench, as small frozen facts.

Rules of this file:

* An event is a fact that was true at ``t``, seconds since the start of the capture. It is
  never changed afterwards; a correction is a new event.
* Each has a ``kind`` in files (the tag below), so an event is written and read back as it is.
* Ohms in ``value`` are as read and steadied; ``corrected`` is after lead zero and temperature.
* State is folded from events (``progress.Progress``); nothing else changes it.
"""

from enum import Enum

import msgspec

from meterlink.commands import AnyCommand
from meterlink.quantities.budget import Component


class Verdict(Enum):
    """What a steadied value means. The value is the code in files and JSON."""

    OPEN = "open"
    SHORT = "short"
    BELOW = "below"
    IN_WINDOW = "in-window"
    ABOVE = "above"


class Limit(Enum):
    """What keeps the uncertainty of a held value from being smaller."""

    NOISE = "noise"
    RESOLUTION = "resolution"
    METER = "meter"
    LEADS = "leads"
    TEMPERATURE = "temperature"
    SERIES = "series"
    """The tolerance of what lies in line with a winding: a suppressor, a resistive lead."""
    CONTACT = "contact"
    """What the tips add on the work beyond what they had when held together."""
    EMF = "emf"
    """Thermal voltages where tip and work are not equally warm."""


class Noise(Enum):
    """How the noise of a touch came about, as far as its readings show it."""

    WHITE = "white"
    """Readings that have nothing to do with one another: the meter, or its surroundings."""
    WANDERING = "wandering"
    """Readings that take after the ones before them: a contact that is pressed unevenly."""
    JUMPING = "jumping"
    """Two levels: a contact spot that is lost and found."""


class Evidence(Enum):
    """How it is known that the probes touched while the meter read over range."""

    SAME_TOUCH = "same-touch"
    """A switch went closed, open, closed under probes that stayed on."""
    TAPPED = "tapped"
    """The probes were tapped together just before and just after."""
    SAID = "said"
    """Nobody measured it: the technician's word alone, by an explicit choice or typed."""
    READ = "read"
    """A finite reading above the value that counts as open."""


class Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", gc=False):
    """Base of all events."""

    t: float
    """Seconds since the start of the capture; never wall time."""


# --- a touch: from contact to lift ------------------------------------------------------------


class Contact(Event, frozen=True, kw_only=True, tag="contact"):
    """The probes are on something."""


class Held(Event, frozen=True, kw_only=True, tag="hold"):
    """The value of this touch stands."""

    contact_t: float
    """When this touch began."""
    value: float
    """As read, steadied; SI units."""
    unit: str = "ohm"
    readings: int
    """How many readings the value rests on."""
    noise: float
    """Standard deviation of one reading, same unit."""
    resolution: float
    """Step of the last digit, same unit; 0 where none is known or seen."""
    step_at_most: float = 0.0
    """Where ``resolution`` is 0 and yet readings repeated themselves, so that there must be a step:
    how coarse it can be, same unit; else 0."""
    u: float
    """Standard uncertainty of ``value`` by repeatability (Type A), same unit."""
    dof: float
    """Degrees of freedom of ``u``."""
    limit: Limit = Limit.NOISE
    """What keeps more readings from helping."""
    revises: bool = False
    """It takes the place of the value that was held before in the same touch."""
    slope: float = 0.0
    """How fast the value moves, same unit a second; 0 where no movement shows. ``u`` contains how
    far it goes until it is stated again."""
    slope_u: float = 0.0
    """Standard uncertainty of ``slope``; 0 where it was not looked for."""
    origin: Noise = Noise.WHITE
    """Where the noise is from; ``u`` contains that too."""
    poor: bool = False
    """The contact is poor: its noise, not the meter, limits what can be known."""


class Lift(Event, frozen=True, kw_only=True, tag="lift"):
    """The probes came off: ``t`` is the first reading without contact."""

    contact_t: float
    held: bool
    """Whether the touch had a hold."""


class PassedOver(Event, frozen=True, kw_only=True, tag="passed-over"):
    """Readings that the engine could not use, counted rather than listed one by one."""

    why: str
    """``not-a-number``, ``time went back``, ``time repeated``, ``negative`` ..."""
    count: int


TouchEvent = Contact | Held | Lift | PassedOver


# --- the work card ----------------------------------------------------------------------------


class CardBegan(Event, frozen=True, kw_only=True, tag="card-began"):
    """A work card was begun, or taken up again after a break."""

    card: str
    profile: str
    again: bool = False


class StepBegan(Event, frozen=True, kw_only=True, tag="step-began"):
    """This step is the one that readings and commands now go to."""

    step: str


class Asked(Event, frozen=True, kw_only=True, tag="asked"):
    """What the technician is to do next, in a sentence or two; a switch check asks several times.

    It is always the whole of it: what is refused or answered in between says the question again.
    """

    step: str
    say: str
    position: str = ""
    """The switch position asked for, where the step is a switch check."""
    answers: tuple[str, ...] = ()
    """What it can be answered with, each as it is to be entered; empty where it is no choice. None
    of them is meant by a ``Confirm``: the person says which."""


class Zeroed(Event, frozen=True, kw_only=True, tag="lead-zero"):
    """The lead zero was taken; it is subtracted from the resistances that follow."""

    step: str
    value: float
    """Ohms."""
    u: float
    """Standard uncertainty by repeatability, ohms."""
    dof: float
    resolution: float
    """Step of the last digit while it was taken, ohms."""
    range: float | None = None
    """Full scale of the meter's range while it was taken, ohms; None where it is not known."""


class Judged(Event, frozen=True, kw_only=True, tag="verdict"):
    """A held value, or an over range with evidence of contact, judged against its window."""

    step: str
    contact_t: float
    value: float | None
    """As read, steadied; None for an over range."""
    unit: str = "ohm"
    readings: int = 0
    noise: float = 0.0
    resolution: float = 0.0
    corrected: float | None = None
    """After lead zero, series resistance and temperature; None for an over range."""
    u: float | None = None
    """Expanded uncertainty of ``corrected``, 95 %."""
    verdict: Verdict
    probability: float
    """Probability of the stated verdict."""
    clear: bool
    """``probability`` is at least 0.95."""
    position: str = ""
    """Switch position, where the step is a switch check."""
    evidence: Evidence | None = None
    """For an open: how it is known that the probes touched."""
    advice: str = ""
    """One sentence on what limits and what would help, where the verdict is close."""
    budget: tuple[Component, ...] = ()
    """What ``u`` is made of; empty for an over range."""
    probabilities: dict[str, float] = {}
    """Of every verdict that was possible, by its code."""
    notes: tuple[str, ...] = ()
    """What was not known and so assumed or left out, each a plain sentence."""
    interval: tuple[float, float] | None = None
    """Both ends of the 95 % interval of the true value; it need not lie evenly about ``corrected``.
    None for an over range, and in records of earlier versions."""
    rule: str = ""
    """By which the part is accepted or rejected: a code of ``judging.rule.Rule``."""
    decision: str = ""
    """``accept``, ``reject`` or ``undecided``, by ``rule``."""
    risk: float | None = None
    """Specific risk that the decision is wrong (JCGM 106, 9.3.2); None where undecided."""
    repeat: str = ""
    """Of a verdict against the part: ``not-repeated``, ``agrees`` or ``disagrees`` with the touch
    before. Empty where none is asked for."""
    rules: str = ""
    """Version of the rules that it was made by; empty in records of earlier versions, which are
    version 1."""


class MeterChecked(Event, frozen=True, kw_only=True, tag="meter-checked"):
    """The meter was held against a resistor whose value is known."""

    step: str
    contact_t: float
    marking: str
    """Of the resistor, as it was given: ``4.7 kohm 1%``, ``yellow violet red gold``."""
    ohms: float
    """What the marking says."""
    tolerance: float
    """Percent of ``ohms``, either way."""
    value: float
    """As read, steadied; ohms."""
    readings: int
    noise: float
    resolution: float
    corrected: float
    """After the leads, ohms."""
    error: float
    """``corrected`` less ``ohms``."""
    u: float
    """Expanded uncertainty of ``error``, 95 %: meter, leads, noise and the marking together."""
    passed: bool
    """``error`` is no larger than ``u``."""
    budget: tuple[Component, ...] = ()
    notes: tuple[str, ...] = ()
    sees: float | None = None
    """Smallest error that it could tell from none, over ``ohms``; None in earlier records."""


class Entered(Event, frozen=True, kw_only=True, tag="entry"):
    """Something that a person said: a number, a text, a choice."""

    step: str
    text: str
    value: float | None = None
    """The number in ``unit``, where the entry is one."""
    unit: str = ""
    who: str = ""
    when: str = ""
    """RFC 3339 wall time, given by the face that took the entry."""
    how: str = "typed"
    """``typed``, ``chosen``, ``key``, ``pedal``, ``probes``."""


class Dropout(Event, frozen=True, kw_only=True, tag="dropout"):
    """While watching: the path opened, or left its level, and came back."""

    step: str
    lasted_s: float
    depth: float | None
    """Farthest value seen, ohms; None for an over range."""


class SoakPoint(Event, frozen=True, kw_only=True, tag="soak-point"):
    """While soaking: the mean since the last point. The first is the hold that it begins with."""

    step: str
    value: float | None
    """Ohms as read; None where every reading was over range."""
    temperature: float | None
    """Degrees Celsius of the winding, from its resistance; at the first point as it was known."""
    over_range: int = 0
    """How many readings of the interval were over range."""
    lasted_s: float = 0.0
    """Seconds of the interval without those that were over range."""


class StepEnded(Event, frozen=True, kw_only=True, tag="step-ended"):
    """A step has its outcome."""

    step: str
    outcome: str
    """A verdict code, ``done``, ``acknowledged``, ``yes``, ``no``, ``passed``, ``failed``,
    ``skipped`` or the entry's own choice."""
    reason: str = ""
    """Why, where it was skipped."""
    how: str = "probes"
    """What ended it: ``probes``, ``key``, ``pedal``, ``typed``, ``chosen``; ``profile`` where it
    was passed over, as the engine has no such part."""
    who: str = ""
    evidence: Evidence | None = None
    """``said`` where an open rests on the technician's word alone."""


class StepReopened(Event, frozen=True, kw_only=True, tag="step-reopened"):
    """A step is done again; what it said before stays in the log and no longer counts."""

    step: str
    reason: str = ""


class CardEnded(Event, frozen=True, kw_only=True, tag="card-ended"):
    """Every step of the card has an outcome."""

    card: str
    signed_off: bool = False
    meter_failed: bool = False
    """The meter failed its check against a known resistor, and that stands."""


class CommandReceived(Event, frozen=True, kw_only=True, tag="told"):
    """A command came in; what it made happen follows. With it, a record replays exactly."""

    command: AnyCommand


# --- around the bench -------------------------------------------------------------------------


class Gap(Event, frozen=True, kw_only=True, tag="gap"):
    """Readings are missing from ``t`` until ``until``: meter lost, disk full, program stopped."""

    until: float | None
    why: str


class MeterSet(Event, frozen=True, kw_only=True, tag="meter-set"):
    """What the meter is set to from now on."""

    quantity: str
    range: float | None = None
    four_wire: bool = False
    integration_s: float | None = None
    resolution: float | None = None
    lost: tuple[str, ...] = ()
    flags: tuple[str, ...] | msgspec.UnsetType = msgspec.UNSET
    """What it answers of itself, such as ``relative``; not written where that is nothing."""
    cautions: tuple[str, ...] | msgspec.UnsetType = msgspec.UNSET
    """What it cannot be asked, each a plain sentence; likewise."""


class MeterFlags(Event, frozen=True, kw_only=True, tag="meter-flags"):
    """What the meter says of itself beside its values, from now on."""

    flags: tuple[str, ...]
    """Such as ``hold``, ``relative``, ``battery_low``; empty where all of them are gone."""
    blocks: tuple[str, ...] = ()
    """Why nothing is judged from now on, each a plain sentence with the mend."""
    cautions: tuple[str, ...] = ()
    """What stands beside every verdict from now on."""


class MeterConfirmed(Event, frozen=True, kw_only=True, tag="meter-confirmed"):
    """Before a held value counted, the meter was asked what it is set to."""

    why: str = ""
    """Why the value does not count; empty where it does."""
    failed: str = ""
    """Why the meter could not be asked."""


class Note(Event, frozen=True, kw_only=True, tag="note"):
    """Words worth keeping beside the numbers."""

    text: str
    who: str = ""


BenchEvent = (
    TouchEvent
    | CardBegan
    | StepBegan
    | Asked
    | Zeroed
    | Judged
    | MeterChecked
    | Entered
    | Dropout
    | SoakPoint
    | StepEnded
    | StepReopened
    | CardEnded
    | CommandReceived
    | Gap
    | MeterSet
    | MeterFlags
    | MeterConfirmed
    | Note
)
