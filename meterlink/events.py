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


class Evidence(Enum):
    """How it is known that the probes touched while the meter read over range."""

    SAME_TOUCH = "same-touch"
    """A switch went closed, open, closed under probes that stayed on."""
    TAPPED = "tapped"
    """The probes were tapped together just before and just after."""
    SAID = "said"
    """The technician's own key, pedal or typed entry."""
    READ = "read"
    """A finite reading above the value that counts as open."""


class Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", gc=False):
    """Base of all events."""

    t: float
    """Seconds since the start of the capture; never wall time."""


# --- a touch: from contact to lift ------------------------------------------------------------


class Contact(Event, tag="contact"):
    """The probes are on something."""


class Held(Event, tag="hold"):
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
    u: float
    """Standard uncertainty of ``value`` by repeatability (Type A), same unit."""
    dof: float
    """Degrees of freedom of ``u``."""
    limit: Limit = Limit.NOISE
    """What keeps more readings from helping."""


class Lift(Event, tag="lift"):
    """The probes came off: ``t`` is the first reading without contact."""

    contact_t: float
    held: bool
    """Whether the touch had a hold."""


class PassedOver(Event, tag="passed-over"):
    """Readings that the engine could not use, counted rather than listed one by one."""

    why: str
    """``not-a-number``, ``time went back``, ``time repeated``, ``negative`` ..."""
    count: int


TouchEvent = Contact | Held | Lift | PassedOver
