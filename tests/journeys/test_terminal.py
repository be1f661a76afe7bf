"""A whole job in a real terminal, at its smallest size, by keys alone."""

import os
import shlex
import shutil
import sys

import pytest

from tests.journeys.cues import Cues
from tests.journeys.engines import draw
from tests.journeys.faces import PROGRAM, home
from tests.journeys.journey import Bench
from tests.journeys.player import Habits, Player
from tests.tui.terminals import Terminal
from tui.screen.keys import NAMES
from tui.settings.shelf import CARDS, PROFILES

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="there is no tmux")

_KEYS = {"space": "Space", "ctrl+o": "C-o", "ctrl+s": "C-s", "ctrl+b": "C-b"}


class Typed:
    """Types into the terminal once it shows what is asked."""

    def __init__(self, terminal: Terminal) -> None:
        self._terminal = terminal

    def tell(self, command: str, text: str = "") -> None:
        if command == "enter":
            self._terminal.wait_for("then Enter")
            self._terminal.tmux("send-keys", "-t", self._terminal.name, "-l", text)
            self._terminal.wait_for("Enter takes")
            self._terminal.tmux("send-keys", "-t", self._terminal.name, "Enter")
        else:
            key = NAMES[command].key
            self._terminal.tmux("send-keys", "-t", self._terminal.name, _KEYS.get(key, key))


def test_a_job_in_a_real_terminal(tmp_path):
    patient = draw(PROFILES.get("pump-set-demo"), 4)
    terminal = Terminal("journey")
    with Bench(tmp_path, patient, 30.0) as bench:
        words = ["bench", "--port", bench.simulated.port, "--card", "ignition-check"]
        words += ["--profile", "pump-set-demo", "--new", "pump 7", "--jobs", str(tmp_path / "jobs")]
        command = [sys.executable, str(PROGRAM), str(bench.clock_file), *words]
        env = [f"{name}={value}" for name, value in home(tmp_path).items()]
        line = shlex.join(["env", *env, f"PATH={os.environ['PATH']}", *command])
        ending = f"{line}; echo ended with $?; sleep 60"
        size = ["-x", "80", "-y", "24"]
        terminal.tmux("new-session", "-d", "-s", terminal.name, *size, "sh", "-c", ending)
        try:
            terminal.wait_for("Read the cautions")
            cues = Cues(tmp_path / "jobs", bench.clock.now, lambda: True)
            card = CARDS.get("ignition-check")
            player = Player(Typed(terminal), bench.hands, cues, card, patient, Habits())
            player.play()
            last = terminal.wait_for("The card is done")
            assert "PASSED" in last
            terminal.tmux("send-keys", "-t", terminal.name, "q")
            assert "Traceback" not in terminal.wait_for("ended with 0")
            assert not player.gave_up
        finally:
            terminal.tmux("kill-server")
