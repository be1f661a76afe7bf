"""A replay where there is no screen: a line per event, answers and pauses as typed lines."""

import sys
from collections.abc import Callable
from typing import Final, TextIO

from meterlink.bench.snapshot import Update
from meterlink.events import Verdict
from meterlink.quantities.text import plain
from meterlink.wording import window_words
from tui.announcing.signs import can_show, say
from tui.announcing.teller import Teller
from tui.plain.plain_face import PlainFace
from tui.replay.player import Question, ReplayPlayer, comment_on

_CODES: Final = tuple(verdict.value for verdict in Verdict)
_GO_ON: Final = "       [Enter goes on]"


class PlainReplay:
    """Prints what a player plays, and asks on standard input."""

    def __init__(
        self,
        player: ReplayPlayer,
        *,
        step_by_step: bool = False,
        typed: TextIO | None = None,
        write: Callable[[str], None] = say,
    ) -> None:
        self._player = player
        self._teller = Teller(player.bench.card, player.bench.profile)
        self._face = PlainFace(self._teller, write)
        self._typed = typed or sys.stdin
        self._write = write
        self._step_by_step = step_by_step
        player.show(self)

    def __call__(self, seen: Update) -> None:
        """Print the events of this moment; nothing while it runs on to where it is to begin."""
        if not self._player.running_on:
            self._face(seen)

    def ask(self, question: Question, gone: Callable[[], bool]) -> str:
        """Ask for the verdict of ``question``; return its code, empty where none is given."""
        judged = question.judged
        at = f" in «{judged.position}»" if judged.position else ""
        read = (
            "over range"
            if judged.value is None
            else self._teller.value(
                judged.value, judged.unit, max(judged.resolution, judged.noise / 10)
            )
        )
        window = ""
        if question.criterion is not None:
            words = window_words(question.criterion, ohm_sign=can_show("Ω"))
            window = f"; the window is {words}"
        self._write(
            f"{judged.t:8.2f} s  {self._teller.title(judged.step)}{at} reads {read}{window}"
        )
        while not gone():
            self._write(f"            your verdict: {', '.join(_CODES)}?")
            line = self._typed.readline()
            said = line.strip().lower().replace(" ", "-")
            if said in _CODES or not line:
                break
            strange = f"«{plain(said, 40)}» is none of them" if said else "say one of them"
            self._write(f"            {strange}")
        else:
            said = ""
        self._write(f"            {comment_on(said, judged)}")
        return said

    def wait(self) -> bool:
        """Wait for a line; return whether to wait again at the next thing that happens."""
        self._write(_GO_ON)
        return bool(self._typed.readline()) and self._step_by_step

    def end(self) -> None:
        """Print the table of results, where the record was played to its end."""
        if self._player.finished and not self._player.running_on:
            self._face.end(self._player.bench.progress)
