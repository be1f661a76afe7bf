"""The command line in a process of its own, with a home of its own."""

import os
import subprocess
import sys
from pathlib import Path

INJECTED = Path(__file__).with_name("injected.py")
ROOT = Path(__file__).parents[2]


def home_of(folder: Path) -> dict[str, str]:
    """Return the environment of a user whose home is ``folder``."""
    return {
        **os.environ,
        "HOME": str(folder),
        "XDG_CONFIG_HOME": str(folder / "config"),
        "XDG_DATA_HOME": str(folder / "data"),
        "XDG_STATE_HOME": str(folder / "state"),
        "APPDATA": str(folder / "config"),
        "LOCALAPPDATA": str(folder / "state"),
    }


def command(*words: str, broken: str = "") -> list[str]:
    """Return the command line; ``broken`` is the place of a fault, see ``injected``."""
    start = [sys.executable, str(INJECTED), broken] if broken else [sys.executable, "-m", "tui"]
    return [*start, *words]


def run(
    home: Path, *words: str, broken: str = "", typed: str = ""
) -> subprocess.CompletedProcess[str]:
    """Run ``meterlink WORDS`` to its end with ``typed`` on its standard input."""
    return subprocess.run(
        command(*words, broken=broken),
        input=typed,
        capture_output=True,
        text=True,
        timeout=90,
        env=home_of(home),
        cwd=ROOT,
        check=False,
    )
