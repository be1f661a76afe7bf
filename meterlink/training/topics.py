"""What can be practised, and missed: the rows of a trainee's table."""

from enum import Enum
from typing import Final


class Topic(Enum):
    """Something to be learned. The value is the word in files; ``title`` is for people."""

    CAUTIONS = "cautions"
    MADE_SAFE = "made-safe"
    VAPOUR = "vapour"
    WIRE_BACK = "stop-wire-back"
    STOP_CHECK = "stop-check"
    PLACES = "places"
    BARE_METAL = "bare-metal"
    FINGERS = "fingers"
    STOP_WIRE = "stop-wire-off"
    POSITIONS = "switch-positions"
    CONNECTORS = "other-switches-off"
    CLIP_LEAD = "clip-lead"
    LEAD_OFF = "plug-lead-off"
    RANGE = "range"
    LEAD_ZERO = "lead-zero"
    TOUCHING = "tips-on"
    MOVING = "wire-moved"
    WARMING = "winding-warmed"
    FAULT = "fault-found"
    PARTS = "parts"
    CHECKS = "checks"
    TIME = "time"

    @property
    def title(self) -> str:
        """The topic in words."""
        return _TITLES[self]


_TITLES: Final = {
    Topic.CAUTIONS: "reading the cautions first",
    Topic.MADE_SAFE: "ignition off, plug lead off and earthed",
    Topic.VAPOUR: "no spark near open fuel",
    Topic.WIRE_BACK: "stop wire back on before the engine starts",
    Topic.STOP_CHECK: "stop check before sign-off",
    Topic.PLACES: "probes on the right places",
    Topic.BARE_METAL: "probes on bare metal",
    Topic.FINGERS: "fingers off the tips",
    Topic.STOP_WIRE: "stop wire off or on, as the check wants it",
    Topic.POSITIONS: "switches in the right position",
    Topic.CONNECTORS: "other switches unplugged",
    Topic.CLIP_LEAD: "clip lead on where a check wants it, and off again",
    Topic.LEAD_OFF: "plug lead off the plug before measuring",
    Topic.RANGE: "the meter's range",
    Topic.LEAD_ZERO: "lead zero before low resistances",
    Topic.TOUCHING: "no open called with the probes in the air",
    Topic.MOVING: "wire moved while it is watched",
    Topic.WARMING: "winding warmed while it is logged",
    Topic.FAULT: "naming the fault",
    Topic.PARTS: "no good part renewed",
    Topic.CHECKS: "checks that tell",
    Topic.TIME: "time",
}

SAFETY_TOPICS: Final = (
    Topic.CAUTIONS,
    Topic.MADE_SAFE,
    Topic.VAPOUR,
    Topic.WIRE_BACK,
    Topic.STOP_CHECK,
)
"""The steps that keep people from being hurt, in their order."""

SKIPPED: Final = {
    Topic.CAUTIONS: "You went to work before the cautions were read.",
    Topic.MADE_SAFE: "You went to work with the ignition live: switch off, take the plug lead off "
    "and earth it first.",
    Topic.VAPOUR: "You made a spark before plug hole and fuel were closed and the place aired: a "
    "spark lights vapour.",
    Topic.WIRE_BACK: "You ran the engine with its stop circuit apart: nothing would have stopped "
    "it.",
    Topic.STOP_CHECK: "The engine was not seen to stop after the work: none is given back before "
    "that.",
}
"""What there is to say of each of them that was skipped."""
