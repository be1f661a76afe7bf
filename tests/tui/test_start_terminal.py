"""The start page in a real terminal: what is chosen there is what runs."""

import shutil
import sys

import pytest

from tests.tui.processes import home_of
from tests.tui.terminals import ROOT, Terminal

TERMINAL = Terminal("start")
NAME, tmux, wait_for = TERMINAL.name, TERMINAL.tmux, TERMINAL.wait_for

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="there is no tmux here")


@pytest.fixture
def terminal(tmp_path):
    home = " ".join(f"{k}={v}" for k, v in home_of(tmp_path).items() if str(tmp_path) in v)
    command = f"cd {ROOT} && env {home} {sys.executable} -m tui; echo EXIT $?; sleep 60"
    tmux("new-session", "-d", "-s", NAME, "-x", "80", "-y", "24", command)
    yield tmp_path
    tmux("kill-server")


def test_the_first_start_asks_and_an_exercise_is_replayed(terminal):
    wait_for("Both hands hold the probes")
    tmux("send-keys", "-t", NAME, "Escape")
    shown = wait_for("New job: what is the complaint?")
    assert "Weak, or hard to start" in shown
    assert "choose" not in shown.splitlines()[0]
    tmux("send-keys", "-t", NAME, "8")
    wait_for("What is to be replayed?")
    tmux("send-keys", "-t", NAME, "Enter")
    wait_for("Lead zero")
    tmux("send-keys", "-t", NAME, "q")
    wait_for("EXIT")
