"""Things that hold a file or a port, and let go of it at the end of a ``with`` statement."""

from abc import ABC, abstractmethod
from typing import Self


class Closing(ABC):
    """Closed at the end of the ``with`` statement that it is used in, whatever happened there."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @abstractmethod
    def close(self) -> None:
        """Let go. Safe to call twice."""
