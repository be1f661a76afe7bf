"""Tones by the terminal's bell: patterns that an ear tells apart without looking.

A bell has one pitch, so news differs in rhythm: how many strokes, and how far apart.
"""

import threading
from collections.abc import Callable
from enum import Enum
from functools import partial
from typing import Final


class Tune(Enum):
    """What a pattern of strokes says; the value is the word in settings and help."""

    IN_WINDOW = "in-window"
    OUT = "out"
    OPEN = "open"
    AGAIN = "again"


PATTERNS: Final[dict[Tune, tuple[float, ...]]] = {
    Tune.IN_WINDOW: (0.0,),
    Tune.OUT: (0.0, 0.45),
    Tune.OPEN: (0.0, 0.45, 0.45),
    Tune.AGAIN: (0.0, 0.15, 0.15, 0.15),
}
"""Seconds to wait before each stroke: one; two slow; three slow; four quick."""


class Tones:
    """Plays patterns on a thread of its own; the newest replaces what is still playing."""

    def __init__(self, bell: Callable[[], object]) -> None:
        """``bell`` makes one stroke; it is called on the player's thread and returns at once."""
        self._bell = bell
        self._wanted: Tune | None = None
        self._changed = threading.Condition()
        self._closed = False
        self._count = 0
        self._thread = threading.Thread(target=self._play, name="tones", daemon=True)
        self._thread.start()

    def play(self, tune: Tune) -> None:
        """Play ``tune`` from its first stroke; returns at once."""
        with self._changed:
            self._wanted = tune
            self._count += 1
            self._changed.notify()

    def close(self) -> None:
        """Stop; what is playing is cut short. Safe to call twice."""
        with self._changed:
            self._closed = True
            self._changed.notify()
        self._thread.join()

    def _play(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._closed or self._wanted is not None)
                if self._closed or self._wanted is None:
                    return
                tune, mine, self._wanted = self._wanted, self._count, None
            for pause in PATTERNS[tune]:
                with self._changed:
                    cut = self._changed.wait_for(partial(self._other, mine), pause)
                if cut:
                    break
                self._bell()

    def _other(self, mine: int) -> bool:
        return self._closed or self._count != mine
