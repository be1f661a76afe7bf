"""Ten thousand jobs listed: cold, warm, and against reading every log whole.

Each job has a header as large as the real ones (card and profile in it) and a log of some sixty
lines. “Cold” asks the system to forget the files first: by ``/proc/sys/vm/drop_caches`` where that
is allowed, else by ``posix_fadvise`` for every log.

    python tests/benchmarks/captures_listing.py [--jobs 10000]
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

LIST = """
import sys, time
from pathlib import Path
from captures.job.store import JobStore, list_jobs
from tests.benchmarks.peak import peak_mib
store = JobStore(Path(sys.argv[1]))
start = time.perf_counter()
{work}
took = time.perf_counter() - start
print(took, peak_mib(), count)
"""

STATES = """
import shutil
from captures.job.known_states import KnownStates
folder = Path(sys.argv[1] + "-states")
{first}
with KnownStates(store.root, folder) as known:
    count = sum(1 for _ in list_jobs(store.jobs(), state_of=known.state_of))
"""

WAYS = {
    "list, every record checked": STATES.format(first="shutil.rmtree(folder, True)"),
    "list, states known": STATES.format(first=""),
    "list": "count = sum(1 for _ in list_jobs(store.jobs()))",
    "list, one month of a year": (
        "count = sum(1 for _ in list_jobs(store.jobs(), since='2026-06-01', until='2026-06-30'))"
    ),
    "list, text in title": "count = sum(1 for _ in list_jobs(store.jobs(), match='pump 77'))",
    "every log read whole": "count = sum(1 for job in store.jobs() for _ in job.entries())",
}


def main() -> None:
    """Make the jobs, then list them."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--jobs", type=int, default=10_000)
    jobs = arguments.parse_args().jobs
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "jobs"
        start = time.perf_counter()
        _make(root, jobs)
        print(f"{jobs} jobs made in {time.perf_counter() - start:.1f} s")
        how = _forget(root)
        print(f"{'way':<28} {'cold s':>8} {'warm s':>8} {'peak MiB':>9}   lines   (cold by {how})")
        for name, work in WAYS.items():
            _forget(root)
            cold = _run(work, root)
            warm = min(_run(work, root) for _ in range(3))
            print(f"{name:<28} {cold[0]:8.2f} {warm[0]:8.2f} {warm[1]:9.0f}   {warm[2]:.0f}")


def _make(root: Path, jobs: int) -> None:
    """Write the logs as a closed job leaves them; one is made by the writer, the rest like it."""
    from captures.job.store import JobStore
    from meterlink.declared import to_plain
    from meterlink.events import CardBegan, CardEnded, Note
    from tui.settings import CARDS, PROFILES

    settings = {
        "card": to_plain(CARDS.get("ignition-check")),
        "profile": to_plain(PROFILES.get("pump-set-demo")),
    }
    with JobStore(root).create("Portable pump 0000", settings=settings) as job:
        job.log.append(CardBegan(t=0.0, card="ignition-check", profile="pump-set-demo"))
        for n in range(55):
            job.log.append(
                Note(t=float(n), text="a line of about the length that events have " * 3)
            )
        job.log.append(CardEnded(t=60.0, card="ignition-check", signed_off=True))
    pattern = job.job.log_path.read_bytes()
    for number in range(1, jobs):
        day = f"2026-{number % 12 + 1:02d}-{number % 28 + 1:02d}"
        folder = root / f"{day}-portable-pump-{number:05d}"
        folder.mkdir()
        title = f"Portable pump {number:04d}".encode()
        (folder / "log.jsonl").write_bytes(pattern.replace(b"Portable pump 0000", title))


def _forget(root: Path) -> str:
    os.sync()
    try:
        Path("/proc/sys/vm/drop_caches").write_text("3")
    except OSError:
        for log in root.glob("*/log.jsonl"):
            fd = os.open(log, os.O_RDONLY)
            os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)
            os.close(fd)
        return "posix_fadvise"
    return "drop_caches"


def _run(work: str, root: Path) -> list[float]:
    done = subprocess.run(
        [sys.executable, "-c", LIST.format(work=work), str(root)],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return [float(word) for word in done.stdout.split()]


if __name__ == "__main__":
    main()
