"""A replay where there is no screen: a line per event, answers and pauses as typed lines."""

import sys
from collections.abc import Callable, Iterator
from typing import Any, Final, NamedTuple, TextIO

from captures.record.comparison import Difference, Side
from captures.record.replay import NEVER_CLOSED, Played
from captures.training.notes import Notes
from meterlink.bench.snapshot import Update
from meterlink.card import BenchEvent
from meterlink.events import Verdict
from meterlink.quantities.text import plain
from meterlink.wording import counted, window_words
from tui.announcing.signs import can_show, say
from tui.announcing.teller import Teller
from tui.plain.plain_face import PlainFace
from tui.replay.player import ReplayPlayer, VerdictQuestion, comment_on

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

    def ask(self, question: VerdictQuestion, gone: Callable[[], bool]) -> str:
        """Ask for the verdict of ``question``; return its code, empty where none is given."""
        judged = question.judged
        at = f" in “{judged.position}”" if judged.position else ""
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
            window = f"; limits {words}"
        self._write(
            f"{judged.t:8.2f} s  {self._teller.title(judged.step)}{at} reads {read}{window}"
        )
        while not gone():
            self._write(f"            Say your verdict: {', '.join(_CODES)}.")
            line = self._typed.readline()
            said = line.strip().lower().replace(" ", "-")
            if said in _CODES or not line:
                break
            strange = f"“{plain(said, 40)}” is none of them" if said else "say one of them"
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


_SHOWN: Final = 20
"""So many differences are written out; all are counted, and JSON has more."""


class Report(NamedTuple):
    """The end of one replay."""

    played: Played
    stray: list[str]
    """A sentence for each note that points nowhere."""

    @property
    def exit_code(self) -> int:
        """1 for a difference without a reason, or a note gone astray.

        That a record was never closed is no reason: what it lacks then is not counted.
        """
        reasons = [reason for reason in self.played.reasons() if reason != NEVER_CLOSED]
        unexplained = not self.played.replay.comparison.equal and not reasons
        return 1 if unexplained or self.stray else 0

    def lines(self) -> Iterator[str]:
        """Yield it in sentences."""
        played, comparison = self.played, self.played.replay.comparison
        name, reasons = played.reader.name, played.reasons()
        recorded = comparison.counts[Side.RECORDED]
        if comparison.exact:
            yield f"{name}: {recorded} events, each as it was recorded"
        elif comparison.equal:
            aside = [
                f"{what} in {count}"
                for what, count in (
                    ("rounding", comparison.rounded),
                    ("wording", comparison.worded),
                )
                if count
            ]
            but = f", but for {' and '.join(aside)}" if aside else ""
            yield f"{name}: {recorded} events, each as it was recorded{but}"
            if comparison.rounded:
                yield "  numbers round in another way on another processor or mathematics library"
        else:
            many = counted(comparison.different, "difference")
            yield f"{name}: {many} to the {recorded} recorded events"
            if not reasons:
                yield (
                    "  program and settings are those that recorded it, so the engine was changed "
                    "since, or the record was; “meterlink verify” tells whether the record was"
                )
        for reason in reasons:
            yield f"  why it may differ: {reason}"
        real = [difference for difference in comparison.differences if not difference.harmless]
        for difference in real[:_SHOWN]:
            yield f"  {plain(difference.sentence, 600)}"
        if comparison.different > _SHOWN:
            yield f"  and {comparison.different - _SHOWN} more"
        yield from self.stray

    def facts(self) -> dict[str, Any]:
        """Return it for JSON."""
        played, comparison = self.played, self.played.replay.comparison
        return {
            "file": played.reader.name,
            "program": played.header.program,
            "hold_rule": played.beginning.rule,
            "recorded": comparison.counts[Side.RECORDED],
            "now": comparison.counts[Side.NOW],
            "exact": comparison.exact,
            "equal": comparison.equal,
            "rounded": comparison.rounded,
            "worded": comparison.worded,
            "different": comparison.different,
            "differences": [_facts_of(difference) for difference in comparison.differences],
            "reasons": played.reasons(),
            "damaged_lines": played.reader.damaged,
            "notes_astray": self.stray,
        }


def _facts_of(difference: Difference) -> dict[str, Any]:
    return {
        "number": difference.number,
        "t_s": difference.t,
        "kind": difference.kind,
        "where": difference.where,
        "only": None if difference.only is None else difference.only.value,
        "fields": [field._asdict() for field in difference.fields],
    }


def report_of(played: Played, notes: Notes) -> Report:
    """Return the report of a replay that has come to its end."""
    return Report(played, notes.astray(played.beginning.card, played.replay.t))


def play_through(
    played: Played, notes: Notes, show: Callable[[BenchEvent], None] | None = None
) -> Report:
    """Replay as fast as can be; ``show`` is given every event."""
    for moment in played.moments():
        notes.now(played.replay.t, moment.events)
        if show is not None:
            for event in moment.events:
                show(event)
    notes.now(played.replay.t)
    return report_of(played, notes)
