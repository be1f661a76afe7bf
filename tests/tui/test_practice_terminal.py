"""Practice in a real terminal, from the first look to the score, typed as a trainee types."""

import shutil
import sys

import pytest

from tests.tui.terminals import ROOT, Terminal

TERMINAL = Terminal("practice")
NAME, tmux, wait_for = TERMINAL.name, TERMINAL.tmux, TERMINAL.wait_for

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="there is no tmux here")


def type_in(line: str, shows: str) -> str:
    tmux("send-keys", "-t", NAME, "-l", line)
    tmux("send-keys", "-t", NAME, "Enter")
    return wait_for(shows)


@pytest.fixture
def terminal(tmp_path):
    command = (
        f"cd {ROOT} && {sys.executable} -m tui practice --seed 3 --fault open-primary "
        f"--complaint no-spark --trainee Ann --trainees {tmp_path}; echo EXIT $?; sleep 60"
    )
    tmux("new-session", "-d", "-s", NAME, "-x", "120", "-y", "40", command)
    yield tmp_path
    tmux("kill-server")


def test_a_practice_runs_in_a_real_terminal_to_its_score(terminal):
    wait_for("Find the faulty part")
    type_in("cautions", "Read, and met.")
    type_in("safe", "and earthed to the block.")
    type_in("set stop wire off", "Stop wire: “off”.")
    type_in("check primary", "Stop wire off. Measure")
    type_in("probes primary terminal, laminations", "Nothing is held;")
    type_in("on", "Are both tips on bare metal")
    type_in("on bare metal", "done: Primary winding")
    type_in("name armature: open-primary", "You name armature")
    shown = type_in("done", "EXIT 0")
    assert "kept in" in shown
    assert "Traceback" not in shown
    (results,) = terminal.iterdir()
    assert '"fault":"open-primary"' in results.read_text(encoding="utf-8")
