"""The program in a process of its own, in the time of a virtual bench: CLOCK-FILE ARGUMENTS...."""

import sys
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))
    from drivers.clock import MonotonicClock
    from tests.journeys.hands import Borrowed
    from tui.cli import main

    lent = Borrowed(Path(sys.argv[1]))
    MonotonicClock.__new__ = lambda _: lent  # type: ignore[assignment, misc]
    sys.exit(main(sys.argv[2:]))
