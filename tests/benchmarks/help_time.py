"""How long ``meterlink --help`` takes, against an interpreter that does nothing.

Run: python tests/benchmarks/help_time.py
"""

import statistics
import subprocess
import sys
import time

RUNS = 15


def main() -> None:
    """Print both medians and their ratio."""
    bare = _median([sys.executable, "-c", "pass"])
    ours = _median([sys.executable, "-m", "tui", "--help"])
    print(f"{'':24}{'median':>10}")
    print(f"{'python -c pass':24}{bare * 1000:>8.0f} ms")
    print(f"{'meterlink --help':24}{ours * 1000:>8.0f} ms   {ours / bare:.1f} times as long")


def _median(command: list[str]) -> float:
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


if __name__ == "__main__":
    main()
