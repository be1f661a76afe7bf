"""A real terminal of our own: no other terminal of this user is touched."""

import os
import subprocess
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]


class Terminal:
    """One session of a terminal server that only this test run knows."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._server = f"meterlink-{name}-{os.getpid()}"

    def tmux(self, *arguments: str) -> str:
        """Run one command of the terminal server; return what it prints."""
        done = subprocess.run(
            ["tmux", "-L", self._server, *arguments],
            capture_output=True,
            text=True,
            timeout=20,
            check=True,
        )
        return done.stdout

    def wait_for(self, words: str, seconds: float = 60.0) -> str:
        """Return the screen once it shows ``words``."""
        deadline = time.monotonic() + seconds
        shown = ""
        while time.monotonic() < deadline:
            shown = self.tmux("capture-pane", "-p", "-t", self.name)
            if words in shown:
                return shown
            time.sleep(0.1)  # another process's screen: there is nothing to await
        raise AssertionError(f"“{words}” was never shown; this was:\n{shown}")
