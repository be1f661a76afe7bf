"""A terminal on paper for the screen's benchmarks: takes what is written and notes when."""

import time
from collections.abc import Callable

from textual.drivers.headless_driver import HeadlessDriver


class PaperDriver(HeadlessDriver):
    """Writes nowhere, but for the app it is a terminal like any other."""

    on_write: Callable[[float], None] | None = None
    """Called with ``perf_counter`` at every write."""

    @property
    def is_headless(self) -> bool:
        return False

    def write(self, data: str) -> None:
        """Take one picture, or part of one."""
        if data and PaperDriver.on_write is not None:
            PaperDriver.on_write(time.perf_counter())
