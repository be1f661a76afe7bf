"""What a practice says of what happened at the probes, and what its coach says beside it."""

from collections.abc import Callable, Sequence
from typing import Final

from meterlink.events import (
    Asked,
    BenchEvent,
    Contact,
    Dropout,
    Held,
    Judged,
    Lift,
    SoakPoint,
    StepEnded,
    Zeroed,
)
from meterlink.quantities.notation import format_value
from meterlink.training.ledger import HandsOn
from meterlink.training.practice import Practice
from meterlink.training.topics import SKIPPED, Topic
from tui.announcing.teller import Teller
from tui.practice.bench import PracticeBench

_TOLD: Final = Held | Judged | Lift | Zeroed | Dropout | SoakPoint | Contact | StepEnded


class PracticeTeller:
    """Says events of one practice, and on an easy engine what was wrong, at once."""

    def __init__(
        self, practice: Practice, bench: PracticeBench, write: Callable[[str], None]
    ) -> None:
        self._practice, self._bench, self._write = practice, bench, write
        self._teller = Teller(practice.card)
        self._warned_of: set[Topic] = set()
        """Safety steps that were skipped, and said to be."""

    @property
    def shown(self) -> str:
        """What the meter shows, in words."""
        reading = self._bench.reading
        if reading is None:
            return "nothing yet"
        return "over range" if reading.overload else format_value(reading.value, "ohm")

    def tell(self, events: Sequence[BenchEvent]) -> bool:
        """Say what happened; return whether there was anything to say."""
        told = [words for event in events if (words := self._words(event))]
        for words in told:
            self._write(f"  {words}")
        self.coach()
        return bool(told)

    def coach(self) -> None:
        """On an easy engine, say what was unsafe or told little; on others the score does."""
        flawed, self._bench.flawed = self._bench.flawed, []
        if not self._practice.case.tells_places:
            return
        works = self._practice.ledger.all(HandsOn)
        for topic in dict.fromkeys(topic for work in works for topic in work.unsafe):
            if topic not in self._warned_of:
                self._warned_of.add(topic)
                self._write(f"  ! {SKIPPED[topic]}")
        for flaw in dict.fromkeys(flawed):
            self._write(f"  ! Look again: {flaw.say}.")

    def _words(self, event: BenchEvent) -> str:
        """Return what there is to say of an event; empty for nothing."""
        if isinstance(event, Asked):
            return f"> {event.say}" if event.step in self._practice.steps else ""
        return self._teller.tell(event) if isinstance(event, _TOLD) else ""
