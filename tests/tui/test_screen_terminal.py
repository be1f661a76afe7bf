"""The real program in a real terminal: the demo from its start to the end of the card.

Only the cautions are confirmed by a key; everything after that the simulated hands do.
"""

import shutil
import sys

import pytest

from tests.tui.terminals import ROOT, Terminal

TERMINAL = Terminal("demo")
NAME, tmux, wait_for = TERMINAL.name, TERMINAL.tmux, TERMINAL.wait_for

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="there is no tmux here")


@pytest.fixture(scope="module")
def server():
    """A terminal server of our own: no other terminal of this user is touched."""
    tmux("new-session", "-d", "-s", "idle", "-x", "80", "-y", "24", "sleep 600")
    yield
    tmux("kill-server")


@pytest.fixture
def terminal(server, tmp_path):
    """A terminal of 80 by 24 in which the demo runs; its jobs are in ``tmp_path``."""
    command = f"cd {ROOT} && {sys.executable} -m tui demo --jobs {tmp_path}; echo EXIT $?; sleep 60"
    tmux("new-session", "-d", "-s", NAME, "-x", "80", "-y", "24", command)
    yield tmp_path
    tmux("kill-session", "-t", NAME)


def test_the_demo_runs_to_its_end_by_the_simulated_hands_alone(terminal):
    shown = wait_for("Ignition off, plug lead off")
    tmux("send-keys", "-t", NAME, "Space")
    wait_for("Temperature of the parts")
    wait_for("✓ Lead zero")
    wait_for("✓ Primary winding")
    wait_for("✓ Secondary")
    shown = wait_for("The card is done", 90.0)
    assert "PASSED" in shown
    tmux("send-keys", "-t", NAME, "q")
    shown = wait_for("EXIT 0")
    assert "wrote" in shown
    assert "Traceback" not in shown
    (log,) = terminal.glob("*/log.jsonl")
    assert '"card-ended"' in log.read_text(encoding="utf-8")


def test_the_screen_can_be_left_in_the_middle_and_leaves_the_terminal_as_it_was(terminal):
    wait_for("Ignition off, plug lead off")
    tmux("send-keys", "-t", NAME, "Space")
    wait_for("Temperature of the parts")
    wait_for("✓ Temperature")
    tmux("send-keys", "-t", NAME, "q")
    wait_for("Press quit again")
    tmux("send-keys", "-t", NAME, "q")
    shown = wait_for("EXIT 0")
    assert "█" not in shown  # the alternate screen is gone
