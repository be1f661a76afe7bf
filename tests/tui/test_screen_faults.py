"""A fault that nobody foresaw reaches whoever ran a screen, and leaves no page of traceback."""

import pytest
from textual.app import ComposeResult
from textual.widgets import Static

from tui.practice.screen import PracticeApp
from tui.replay.screen import ReplayApp
from tui.screen.app import BenchApp
from tui.screen.choosing import ChooseApp
from tui.screen.themes import FaultApp


class Faulty(FaultApp[int]):
    """Raises where it is told to."""

    def __init__(self, where: str) -> None:
        super().__init__()
        self._where = where

    def compose(self) -> ComposeResult:
        if self._where == "compose":
            raise LookupError(self._where)
        yield Static("all is well")

    def on_mount(self) -> None:
        secret = "a local name"
        match self._where:
            case "mount":
                raise LookupError(self._where, secret)
            case "worker":
                self.run_worker(self._work, thread=True)
            case "later":
                self.call_after_refresh(self._work)
            case "none":
                self.call_after_refresh(self.exit, 7)

    def _work(self) -> None:
        raise LookupError(self._where)


@pytest.mark.parametrize("where", ["compose", "mount", "worker", "later"])
def test_what_a_handler_or_a_worker_raises_is_raised_to_the_caller(where, capfd):
    with pytest.raises(LookupError, match=where):
        Faulty(where).run(headless=True)
    printed = "".join(capfd.readouterr())
    assert "Traceback" not in printed
    assert "a local name" not in printed


def test_without_a_fault_the_result_comes_back():
    assert Faulty("none").run(headless=True) == 7


@pytest.mark.parametrize("app", [BenchApp, ReplayApp, ChooseApp, PracticeApp])
def test_every_screen_is_one_of_these(app):
    assert issubclass(app, FaultApp)
