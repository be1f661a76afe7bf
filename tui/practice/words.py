"""A practice in words: names as trainees type them, and what happened at the probes."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

from meterlink.card import BenchEvent
from meterlink.errors import UsageError
from meterlink.events import Asked, Contact, Held, Judged, Lift, StepEnded, StepEvent, Zeroed
from meterlink.finding.shape import UNSAID
from meterlink.quantities.text import plain
from meterlink.training.ledger import SKIPPED, Flaw, HandsOn, Safety, Topic
from meterlink.training.practice import Practice
from tui.announcing.teller import Teller

_TOLD: Final = Held | Judged | Lift | Zeroed | Contact | StepEnded | StepEvent


class PracticeTeller:
    """Says events of one practice, and on an easy engine what was wrong, at once."""

    def __init__(self, practice: Practice, write: Callable[[str], None]) -> None:
        self._practice, self._write = practice, write
        self._teller = Teller(practice.card)
        self._warned_of: set[Topic] = set()
        """Safety steps that were skipped, and said to be."""

    def tell(self, events: Sequence[BenchEvent]) -> bool:
        """Say what happened; return whether there was anything to say."""
        told = [words for event in events if (words := self._words(event))]
        for words in told:
            self._write(f"  {words}")
        return bool(told)

    def coach(self, flawed: Sequence[Flaw]) -> None:
        """On an easy engine, say what was unsafe or told little; on others the score does."""
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


ASKED: Final = "What do you do? “help” lists what you can type."

COMMANDS: Final[Mapping[str, str]] = {
    "look": "what was seen so far, how everything stands, minutes and parts",
    "cautions": "read the cautions, and say that they are met",
    "safe": "ignition off, plug lead off the plug and earthed",
    "air": "plug hole closed, fuel off and the place aired, before a spark is made",
    "checks": "every check with its minutes",
    "check NAME": "begin a check; those without the probes are done at once",
    "places": "every place that a probe can touch",
    "probes ONE, OTHER": "put the red tip on one place and the black tip on the other",
    "lift": "take both tips off",
    "tips": "hold the tips together and take the lead zero",
    "on": "say that the tips touch, or that a switch is where it was asked to be",
    "no": "answer no to what the bench asks",
    "set CONTROL POSITION": "put a switch, connector or fitting into a position",
    "controls": "every switch, connector and fitting with its positions",
    "fingers on|off": "lay your fingers across the tips, or take them off",
    "flex": "move the stop wire along its whole run",
    "warm": "warm the winding gently, away from fuel",
    "range VALUE|auto": "turn the meter to a range, such as “range 20k”, or let it choose",
    "wait": "watch the meter for ten seconds",
    "leave": "leave the check that was begun",
    "strip": "shroud off",
    "flywheel": "flywheel off, with the proper puller",
    "hint": "ask for the next best check; it costs",
    "renew PLACE": "renew or put right a place, to see whether it helps",
    "name PLACE: FAULT": "say where the fault is and, if you can, which it is; it is put right",
    "faults": "every place with the faults that it can have",
    "done": "give the engine back, and see what it was worth",
    "later": "leave now, and go on another time with --resume",
    "quit": "give up, and see what it was",
}
"""What can be typed, and what it does."""


def pick(typed: str, choices: Sequence[str], what: str) -> str:
    """Return the one of ``choices`` that was typed: its number, its name, or enough of it.

    Raises:
        UsageError: none fits, or more than one.
    """
    words = " ".join(typed.lower().replace("-", " ").split())
    if not words:
        raise UsageError(f"say which {what}; there is {', '.join(choices)}")
    if words.isdecimal() and 1 <= int(words) <= len(choices):
        return choices[int(words) - 1]
    plainly = {choice: choice.lower().replace("-", " ") for choice in choices}
    for fits in (
        [c for c, name in plainly.items() if name == words],
        [c for c, name in plainly.items() if name.startswith(words)],
        [c for c, name in plainly.items() if all(w in name for w in words.split())],
    ):
        if len(fits) == 1:
            return fits[0]
        if fits:
            raise UsageError(f"“{plain(typed)}” may be {' or '.join(fits)}; type more of it")
    raise UsageError(f"there is no {what} “{plain(typed)}”; there is {', '.join(choices)}")


def pick_named(typed: str, known: Mapping[str, str], what: str) -> str:
    """Return the one of ``known`` that was typed, by its name or by its words.

    Raises:
        UsageError: none fits, or more than one.
    """
    try:
        return pick(typed, list(known), what)
    except UsageError:
        by_words = {words: name for name, words in known.items()}
        return by_words[pick(typed, list(by_words), what)]


def help_lines() -> Iterator[str]:
    """Yield what can be typed, a line each."""
    width = max(map(len, COMMANDS))
    for typed, does in COMMANDS.items():
        yield f"  {typed:<{width}}  {does}"
    yield "  A name may be cut short as long as it is clear, or be its number in the list."


def check_lines(practice: Practice) -> Iterator[str]:
    """Yield every check with its number, its minutes now, and what it showed."""
    seen = practice.ledger.outcomes
    for number, check in enumerate(practice.checks, start=1):
        takes = f"{practice.minutes_of(check):.0f} min"
        probes = " (probes)" if practice.steps_of(check) else ""
        shown = f": {_said(practice, check, seen[check])}" if check in seen else ""
        yield f"  {number:>2}  {takes:>6}  {practice.say(check)}{probes}{shown}"


def control_lines(practice: Practice) -> Iterator[str]:
    """Yield every control with where it stands and where it can be put."""
    for control, positions in practice.controls.items():
        stands = practice.condition.position(control, practice.engine)
        others = ", ".join(position for position in positions if position != stands)
        yield f"  {control}: “{stands}” (or {others})"


def look_lines(practice: Practice, shown: str) -> Iterator[str]:
    """Yield where the practice stands; ``shown`` is what the meter shows."""
    ledger = practice.ledger
    yield f"  {ledger.minutes:.0f} min so far, {ledger.parts:g} in parts."
    done = [step.value for step in Safety if ledger.secured(step)]
    yield f"  Safety: {'; '.join(done) or 'nothing done yet'}."
    opened = [practice.case.model.table.setups[name].say for name in sorted(ledger.opened())]
    if opened:
        yield f"  Opened up: {'; '.join(opened)}."
    yield f"  The meter shows {shown}."
    yield from control_lines(practice)
    for check, outcome in ledger.outcomes.items():
        yield f"  {practice.say(check)}: {_said(practice, check, outcome)}"


def _said(practice: Practice, check: str, outcome: str) -> str:
    """Return what a check showed: a clause, or yes and no of a spark trial."""
    if outcome in UNSAID:
        return "left without an outcome"
    if practice.turns_over(check):
        # A clause would say how things stood, which a trainee may have had otherwise.
        return outcome
    return practice.case.model.nodes[check].said(outcome)


def fault_lines(practice: Practice) -> Iterator[str]:
    """Yield every place with its faults."""
    for number, place in enumerate(practice.places, start=1):
        yield f"  {number:>2}  {place}: {'; '.join(practice.faults_at(place).values())}"
