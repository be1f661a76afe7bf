"""What came of a replay: was every event as it was recorded, did every note find its moment?"""

from collections.abc import Callable, Iterator
from typing import Any, Final, NamedTuple

from captures.record.comparison import Difference, Side
from captures.record.replay import NEVER_CLOSED, Played
from captures.training.notes import Notes
from meterlink.card import BenchEvent
from meterlink.quantities.text import plain
from meterlink.wording import counted

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
            rounded = f", but for rounding in {comparison.rounded}" if comparison.rounded else ""
            yield f"{name}: {recorded} events, each as it was recorded{rounded}"
            if comparison.rounded:
                yield "  numbers round in another way on another processor or mathematics library"
        else:
            many = counted(comparison.different, "difference")
            yield f"{name}: {many} to the {recorded} recorded events"
            if not reasons:
                yield (
                    "  program and settings are those that recorded it, so the engine was changed "
                    "since, or the record was; «meterlink verify» tells whether the record was"
                )
        for reason in reasons:
            yield f"  why it may differ: {reason}"
        real = [difference for difference in comparison.differences if not difference.rounding]
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
            "recorded": comparison.counts[Side.RECORDED],
            "now": comparison.counts[Side.NOW],
            "exact": comparison.exact,
            "equal": comparison.equal,
            "rounded": comparison.rounded,
            "different": comparison.different,
            "differences": [_facts(difference) for difference in comparison.differences],
            "reasons": played.reasons(),
            "damaged_lines": played.reader.damaged,
            "notes_astray": self.stray,
        }


def _facts(difference: Difference) -> dict[str, Any]:
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
