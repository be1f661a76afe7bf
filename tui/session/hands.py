"""Joins a session and simulated hands, played by a scenario or by a person."""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from drivers.simulated.bench import BorrowedHands, Greeting, SimulatedBench, port_of
from meterlink.bench.snapshot import Update
from meterlink.card import BenchEvent
from meterlink.circuit.engine import controls
from meterlink.circuit.wiring import places
from meterlink.steps.entry import CautionStep
from tui.session.session import Session


def connect_hands(sitting: Session, bench: SimulatedBench) -> None:
    """Let the hands see what the bench says, and the bench hear what the hands say."""
    hands = bench.hands

    def see(seen: Update) -> None:
        for event in seen.events:
            hands.notice(event)

    def speak() -> None:
        for command in hands.take_said():
            sitting.tell(command)

    sitting.show(see)
    sitting.between = speak


@contextmanager
def borrowing(sitting: Session, *, person: bool) -> Iterator[bool]:
    """Let the hands of a simulated meter in another process play, where it lends them.

    ``person``: somebody is there to acknowledge cautions and answer what the hands cannot.
    Yields whether there are hands.
    """
    port = port_of(sitting.meter)
    if port is None:
        yield False
        return
    steps = sitting.bench.card.step
    greeting = Greeting(
        steps=[step.id for step in steps],
        cautions=[step.id for step in steps if isinstance(step, CautionStep)],
        person=person,
    )
    unheard: deque[BenchEvent] = deque()
    with BorrowedHands(port, greeting) as hands:

        def speak() -> None:
            events = [unheard.popleft() for _ in range(len(unheard))]
            if not hands.there:
                return
            for command in hands.hear(events):
                sitting.tell(command)

        sitting.show(lambda seen: unheard.extend(seen.events))
        sitting.between = speak
        try:
            yield hands.there
        finally:
            sitting.between = None


class BenchHands:
    """The hands of ``bench``, with what they can reach on its engine."""

    def __init__(self, bench: SimulatedBench) -> None:
        self._hands = bench.hands
        self._switches = {switch.name: switch.positions for switch in bench.scenario.engine.switch}
        engine, start = bench.scenario.engine, bench.scenario.bench.controls
        self.places: Sequence[str] = tuple(places(engine))
        self.controls: Mapping[str, Sequence[str]] = {
            name: _first(positions, start.get(name)) for name, positions in controls(engine).items()
        }

    def closes(self, control: str, position: str) -> bool | None:
        """Return whether a switch in this position is meant to be closed; None: no switch."""
        positions = self._switches.get(control)
        return None if positions is None else positions[position] == "closed"

    def take(self) -> None:
        """Take the hands from the script."""
        self._hands.take()

    def place(self, red: str, black: str) -> None:
        """Put each tip on a place."""
        self._hands.place(red, black)

    def lift(self) -> None:
        """Take both tips off."""
        self._hands.lift()

    def switch(self, control: str, position: str) -> None:
        """Put a switch or fitting into a position."""
        self._hands.switch(control, position)


def _first(positions: Sequence[str], start: str | None) -> tuple[str, ...]:
    """Return ``positions`` with the one that things begin in first."""
    if start is None or start not in positions:
        return tuple(positions)
    return (start, *(position for position in positions if position != start))
