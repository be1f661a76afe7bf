"""The most memory that a process has had, for benchmarks that run each way in its own."""

import sys
from pathlib import Path


def peak_mib() -> float:
    """Return the peak resident size of this process in MiB."""
    status = Path("/proc/self/status")
    if status.exists():
        # What getrusage tells still counts the parent that this process was forked from.
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    if sys.platform == "win32":
        raise OSError("this benchmark cannot tell the peak memory on this system")
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1 << 20 if sys.platform == "darwin" else 1 << 10)
