"""How briskly readings come, and when they have stopped coming."""

from typing import Final

SILENT_S: Final = 2.0
"""So long without a reading, and the top line says so."""


class Pulse:
    """Told once a second how many readings there are; times are of one monotonic clock."""

    def __init__(self, now: float) -> None:
        self.count = 0
        self.rate = 0.0
        """Readings a second, between the last two times that their number had changed."""
        self._changed_at = now
        self._now = now

    def beat(self, now: float, count: int) -> None:
        """Take the number of readings so far."""
        self._now = now
        if count != self.count:
            self.rate = max(0, count - self.count) / max(1e-3, now - self._changed_at)
            self.count, self._changed_at = count, now

    @property
    def silent(self) -> bool:
        """Whether nothing came for ``SILENT_S``."""
        return self._now - self._changed_at > SILENT_S
