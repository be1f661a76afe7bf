"""The replay in a real terminal: an exercise by its name, a key to pause, a key to leave."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SERVER = f"meterlink-replay-{os.getpid()}"
LONGEST_S = 60.0

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="there is no tmux here")


def tmux(*arguments: str) -> str:
    done = subprocess.run(
        ["tmux", "-L", SERVER, *arguments], capture_output=True, text=True, timeout=20, check=True
    )
    return done.stdout


def wait_for(words: str) -> str:
    deadline = time.monotonic() + LONGEST_S
    shown = ""
    while time.monotonic() < deadline:
        shown = tmux("capture-pane", "-p")
        if words in shown:
            return shown
        time.sleep(0.1)  # another process's screen: there is nothing to await
    raise AssertionError(f"“{words}” was never shown; this was:\n{shown}")


def test_an_exercise_is_played_paused_and_left(tmp_path):
    home = f"HOME={tmp_path} XDG_DATA_HOME={tmp_path} XDG_CONFIG_HOME={tmp_path}"
    command = (
        f"cd {ROOT} && {home} {sys.executable} -m tui replay sound-armature --speed 2; "
        "echo EXIT $?; sleep 60"
    )
    tmux("new-session", "-d", "-x", "100", "-y", "30", command)
    try:
        wait_for("▶ playing, 2×")
        tmux("send-keys", "n")
        wait_for("touch 1")
        tmux("send-keys", "Space")
        wait_for("‖ paused")
        tmux("send-keys", "q")
        shown = wait_for("EXIT 0")
        assert "Traceback" not in shown
    finally:
        tmux("kill-server")
