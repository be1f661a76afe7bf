"""What a person can tell the bench, as values: by key, pedal, probes or typed."""

from enum import Enum

import msgspec


class How(Enum):
    """The way a command came in."""

    KEY = "key"
    PEDAL = "pedal"
    PROBES = "probes"
    TYPED = "typed"
    CHOSEN = "chosen"


class Command(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind"):
    """Base of all commands."""

    how: How = How.KEY
    who: str = ""
    when: str = ""
    """RFC 3339 wall time, given by the face; the bench has no clock."""


class Confirm(Command, frozen=True, kw_only=True, tag="confirm"):
    """Yes, go on: acknowledge, accept what is held. Never makes an open: see ``CallOpen``."""


class Deny(Command, frozen=True, kw_only=True, tag="deny"):
    """No, to a step that asks yes or no."""


class CallOpen(Command, frozen=True, kw_only=True, tag="call-open"):
    """Ask to conclude an open, or a switch that never closes, on one's word alone.

    Nothing is concluded by it: the bench asks whether both tips are on bare metal. Only an
    ``Enter`` of the answer that says so (``steps.base.ON_METAL``) records it.
    """


class Redo(Command, frozen=True, kw_only=True, tag="redo"):
    """Do a step again: the named one, else the current one."""

    step: str = ""
    reason: str = ""


class Skip(Command, frozen=True, kw_only=True, tag="skip"):
    """Leave this step without an outcome."""

    reason: str = ""


class Back(Command, frozen=True, kw_only=True, tag="back"):
    """Go back one step and do it again."""

    reason: str = ""


class Zero(Command, frozen=True, kw_only=True, tag="zero"):
    """Take the current steady value as the lead zero."""


class Enter(Command, frozen=True, kw_only=True, tag="enter"):
    """A number with its unit, a text or a choice, as typed."""

    text: str


class Gestures(Command, frozen=True, kw_only=True, tag="gestures"):
    """From now on, let taps and tips held together count, or let only keys and words do."""

    on: bool


AnyCommand = Confirm | Deny | CallOpen | Redo | Skip | Back | Zero | Enter | Gestures
