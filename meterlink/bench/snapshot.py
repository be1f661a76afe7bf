"""What a face is given: what just happened, and what can be seen now."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import msgspec

from meterlink.card import BenchEvent
from meterlink.events import Asked
from meterlink.hold.contact import Stage
from meterlink.judging.criterion import Criterion
from meterlink.reading import Reading


class Snapshot(msgspec.Struct, frozen=True, kw_only=True):
    """What can be seen at this moment, for a face to show; made for every look."""

    stage: Stage
    reading: Reading | None
    value: float | None
    """Best present estimate of the touch, as read; the newest reading before there is one."""
    corrected: float | None
    """The same as the verdict would see it."""
    u: float | None
    """Standard uncertainty of ``value`` by repeatability; None before there is an estimate."""
    criterion: Criterion | None
    """What the step judges against."""
    step: str | None
    asked: Asked | None
    """What the technician is to do now."""
    remaining_s: float | None = None
    """Seconds of readings until a step that runs by its own clock is done; None: none runs."""
    can_call_open: bool = False
    """Whether ``CallOpen`` would be asked about now."""


class Update(NamedTuple):
    """What just happened, and what can be seen now."""

    events: Sequence[BenchEvent]
    look: Snapshot


Face = Callable[[Update], None]
"""Is told of everything, on the thread where it happens, and returns at once."""
