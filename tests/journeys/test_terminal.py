"""A whole job in a real terminal, at its smallest size, by keys alone."""

import os
import shlex
import shutil
import sys
from pathlib import Path

import psutil
import pytest

from tests.journeys.cues import Cues
from tests.journeys.engines import draw
from tests.journeys.faces import PROGRAM, home
from tests.journeys.journey import Bench
from tests.journeys.player import Habits, Player
from tests.tui.terminals import Terminal
from tui.screen.keys import NAMES
from tui.settings import CARDS, PROFILES

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


def shell_line(folder: Path, bench: Bench, *words: str) -> str:
    """Return the line that begins the bench in a shell, and tells its exit code at the end."""
    words = ("bench", "--port", bench.simulated.port, *words, "--jobs", str(folder / "jobs"))
    command = [sys.executable, str(PROGRAM), str(bench.clock_file), *words]
    env = [f"{name}={value}" for name, value in home(folder).items()]
    line = shlex.join(["env", *env, f"PATH={os.environ['PATH']}", *command])
    return f"{line}; echo ended with $?"


def kill_program(clock_file: Path) -> None:
    """End the program as a power cut would, as far as it can tell."""
    for process in psutil.process_iter(["cmdline"]):
        words = process.info["cmdline"] or []
        if str(clock_file) in words and str(PROGRAM) in words:
            process.kill()


@pytest.mark.parametrize("killed", [False, True], ids=["to its end", "killed and taken up"])
def test_a_job_in_a_real_terminal(tmp_path, killed):
    patient = draw(PROFILES.get("pump-set-demo"), 4)
    terminal = Terminal("journey-killed" if killed else "journey")
    card = CARDS.get("ignition-check")
    with Bench(tmp_path, patient, 30.0) as bench:
        words = ["--card", card.id, "--profile", "pump-set-demo", "--new", "pump 7"]
        begun = shell_line(tmp_path, bench, *words)
        again = f"; {shell_line(tmp_path, bench, '--job', 'pump 7')}" if killed else ""
        size = ["-x", "80", "-y", "24"]
        line = f"{begun}{again}; sleep 60"
        terminal.tmux("new-session", "-d", "-s", terminal.name, *size, "sh", "-c", line)
        try:
            terminal.wait_for("Read the cautions")
            cues = Cues(tmp_path / "jobs", bench.clock.now, lambda: True)
            habits = Habits(stop_before=4 if killed else -1)
            player = Player(Typed(terminal), bench.hands, cues, card, patient, habits)
            player.play()
            if killed:
                habits.stop_before = -1
                bench.hands.lift()
                kill_program(bench.clock_file)
                cues.follow(lambda: True)
                player.play()
            last = terminal.wait_for("The card is done")
            assert "PASSED" in last
            terminal.tmux("send-keys", "-t", terminal.name, "q")
            assert "Traceback" not in terminal.wait_for("ended with 0")
            assert not player.gave_up
        finally:
            terminal.tmux("kill-server")
