"""From the command to the first picture, in processes of their own, against what it stands on.

python tests/benchmarks/screen_start.py [--times 5]
"""

import argparse
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]

BARE = "pass"
LIBRARY = "import textual.app, textual.widgets"
PLOT = "import textual_plot"
FIRST_PICTURE = """
import os
from tests.benchmarks.paper import PaperDriver
from tests.tui.acting import ActedSession
from tui.screen.app import BenchApp
from tui.settings import CARDS, PROFILES
session = ActedSession(CARDS.get("ignition-check"), PROFILES.get("pump-set-demo"))
app = BenchApp(session, title="benchmark")
app.driver_class = PaperDriver
pictures = []
def written(now):
    if app.frames:
        os._exit(0)
PaperDriver.on_write = written
app.run(size=(100, 30))
"""


def timed(code: str, times: int) -> float:
    """Return the median of the seconds that a fresh Python takes for ``code``."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)
        took.append(time.perf_counter() - began)
    return statistics.median(took)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=5)
    times = parser.parse_args().times
    bare = timed(BARE, times)
    rows = {
        "python alone": bare,
        "the screen library": timed(LIBRARY, times),
        "the plot library (numpy)": timed(PLOT, times),
        "our first picture": timed(FIRST_PICTURE, times),
    }
    for name, took in rows.items():
        print(f"{name:<26} {took:>6.2f} s  {took / bare:>5.1f} times python alone")


if __name__ == "__main__":
    main()
