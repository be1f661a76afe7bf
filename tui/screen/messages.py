"""What the reading thread posts to the screen.

Every event gets there; of looks only the newest matters, and one not yet painted may be dropped.
"""

from collections.abc import Sequence

from textual.message import Message

from meterlink.bench.snapshot import Snapshot
from meterlink.card import BenchEvent


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
