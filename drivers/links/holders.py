"""Who holds a port, where the system can say."""

from pathlib import Path

_PROCESSES = Path("/proc")


def holder_of(device: str) -> str | None:
    """Return "NAME (process 123)" of a program that has ``device`` open, or None.

    Only systems with a process file system tell, and only of processes that we may look into.
    """
    if not (_PROCESSES / "self" / "fd").is_dir():
        return None
    try:
        target = Path(device).resolve(strict=True)
    except OSError:
        return None
    for process in _PROCESSES.iterdir():
        if process.name.isdigit() and _holds(process, target):
            return f"{_name_of(process)} (process {process.name})"
    return None


def _holds(process: Path, target: Path) -> bool:
    try:
        return any(descriptor.readlink() == target for descriptor in (process / "fd").iterdir())
    except OSError:  # ended meanwhile, or not ours to look into
        return False


def _name_of(process: Path) -> str:
    try:
        return (process / "comm").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return "a program"
