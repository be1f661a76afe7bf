"""What the screen needs of whatever it shows: a live session, a replay, a test."""

import threading
from typing import Protocol

from meterlink.bench.bench import Bench
from meterlink.bench.snapshot import Face
from meterlink.commands import AnyCommand
from meterlink.source import Identity


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
