"""What the command line does where its output goes nowhere: closed, or to a full disk."""

import contextlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

FULL = Path("/dev/full")
"""A device that takes nothing, as a full disk does; Linux has it."""

JUDGE = [sys.executable, "-m", "tui", "judge", "0.842", "--window", "0.7:1.0ohm", "--json"]
AS_USUAL = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
"""What is printed waits in a buffer, so that much of it fails only at the very end."""

DEMO = [sys.executable, "-m", "tui", "demo", "--plain", "--jobs"]


@pytest.mark.skipif(not FULL.exists(), reason="no device here that is always full")
@pytest.mark.parametrize("short", [True, False])
def test_a_full_disk_under_the_output_is_one_sentence_and_exit_5(tmp_path, short):
    command = JUDGE if short else [*DEMO, str(tmp_path)]
    with FULL.open("w") as full:
        done = subprocess.run(
            command,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
            env=AS_USUAL,
        )
    assert done.returncode == 5
    assert done.stderr.startswith("meterlink: standard output takes no more (")
    assert done.stderr.count("\n") == 1


@pytest.mark.skipif(os.name == "nt", reason="a shell's way of closing a stream")
def test_a_closed_output_is_no_trouble(tmp_path):
    done = subprocess.run(
        ["/bin/sh", "-c", 'exec "$@" >&-', "sh", *DEMO, str(tmp_path)],
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
        env=AS_USUAL,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert len(list(tmp_path.glob("*/captures/*.jsonl"))) == 1


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals here")
@pytest.mark.parametrize("elsewhere", ["stdin", "stderr"])
def test_no_screen_opens_where_it_could_not_be_left_or_not_be_seen(tmp_path, elsewhere):
    master, terminal = os.openpty()
    streams = dict.fromkeys(("stdin", "stdout", "stderr"), terminal)
    streams[elsewhere] = subprocess.DEVNULL
    with subprocess.Popen([*DEMO[:-2], "--jobs", str(tmp_path)], env=AS_USUAL, **streams) as demo:
        os.close(terminal)
        seen = b""
        with contextlib.suppress(OSError):  # on Linux the other end's closing is an error
            while block := os.read(master, 4096):
                seen += block
        os.close(master)
        assert demo.wait(timeout=60) == 0
    assert b"the card is done" in seen
    assert b"\x1b" not in seen


def test_whoever_has_read_enough_may_close_the_pipe():
    with subprocess.Popen(
        [sys.executable, "-m", "tui", "--help"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=AS_USUAL,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == ""
        assert process.wait(timeout=30) == 0
