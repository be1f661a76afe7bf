"""What the screen needs of whatever it shows: a live session, a replay, a test."""

import threading
from collections.abc import Sequence
from typing import Protocol

from textual.message import Message

from meterlink.bench.bench import Bench
from meterlink.bench.snapshot import Face, Snapshot
from meterlink.card import BenchEvent
from meterlink.commands import AnyCommand
from meterlink.source import Identity


class Happened(Message):
    """Events, oldest first. Never dropped."""

    def __init__(self, events: Sequence[BenchEvent]) -> None:
        super().__init__()
        self.events = events


class Shown(Message):
    """What can be seen at this moment."""

    def __init__(self, look: Snapshot) -> None:
        super().__init__()
        self.look = look

    def can_replace(self, message: Message) -> bool:
        """An older look that still waits is not worth painting."""
        return isinstance(message, Shown)


class Taken(Message):
    """A command was taken, and what it made happen was posted."""

    def __init__(self, fault: BaseException | None) -> None:
        """``fault``: why it could not be taken; None where it was."""
        super().__init__()
        self.fault = fault


class Struck(Message):
    """One stroke of the bell is due."""


class SessionView(Protocol):
    """One sitting at the bench, run on a thread of its own."""

    bench: Bench
    readings: int
    """How many came so far."""

    @property
    def trouble(self) -> str:
        """Why what happens is not on disk, with the mend; empty while it is."""
        ...

    @property
    def meter(self) -> Identity:
        """What the meter says it is."""
        ...

    def show(self, face: Face) -> None:
        """Tell ``face`` of everything from now on."""
        ...

    def run(self, stop: threading.Event) -> None:
        """Read until ``stop``, the end of the source or of the card."""
        ...

    def tell(self, command: AnyCommand) -> None:
        """Take a command; may be called from any thread."""
        ...
