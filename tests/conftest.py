"""What holds for every test."""

import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator

import pytest
from hypothesis import settings

# Settings, jobs and fault files of whoever runs the tests stay out of them, and theirs out of the
# tests: the program looks for its folders below the home folder.
_HOME = tempfile.mkdtemp(prefix="meterlink-home-")
os.environ |= {"HOME": _HOME, "USERPROFILE": _HOME}
for _name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
    os.environ.pop(_name, None)

# What is compiled once is kept, here and in every program that a test starts: where the
# environment forbids it, each of those would compile the whole house again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False


@pytest.fixture(scope="session", autouse=True)
def home() -> Iterator[None]:
    """Take the home folder of the tests away once they are done."""
    yield
    shutil.rmtree(_HOME, ignore_errors=True)


# A program that is started by a test inherits what the tests do with an interrupt; whoever runs
# them in the background of a shell has them ignore it, and then nothing could be interrupted.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# The same examples at every run, and no clock: a red test is red for everyone, and a slow machine
# makes none. “--hypothesis-profile=wide” looks elsewhere, and longer.
settings.register_profile("steady", derandomize=True, database=None, deadline=None)
settings.register_profile("wide", max_examples=1000, deadline=None)
settings.load_profile("steady")
