"""A job as the demo leaves it, made once for all tests that look into one."""

import contextlib
import functools
import io
import shutil
import tempfile
from pathlib import Path

from tui.cli import main


@functools.cache
def _demo() -> Path:
    root = Path(tempfile.mkdtemp(prefix="meterlink-demo-"))
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["demo", "--plain", "--jobs", str(root)]) == 0
    return root


def copy_demo(into: Path) -> tuple[Path, str]:
    """Copy the demo's jobs folder to ``into``; return it and the job's name."""
    shutil.copytree(_demo(), into)
    [job] = into.iterdir()
    return into, job.name
